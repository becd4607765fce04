//! The document of the interface (`OpenAPI` 3.1), made from the table that the router is made from.

use axum::http::{Method, header};
use axum::response::IntoResponse;
use utoipa::openapi::path::{
    HttpMethod, Operation, OperationBuilder, Parameter, ParameterBuilder, ParameterIn,
};
use utoipa::openapi::request_body::RequestBodyBuilder;
use utoipa::openapi::schema::{AdditionalProperties, SchemaType, empty};
use utoipa::openapi::security::{ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::openapi::{
    ArrayBuilder, ComponentsBuilder, Content, HeaderBuilder, InfoBuilder, KnownFormat, LicenseBuilder,
    ObjectBuilder, OpenApi, OpenApiBuilder, PathItem, PathsBuilder, Ref, RefOr, Required, Response,
    ResponseBuilder, Schema, SchemaFormat, SecurityRequirement, Type,
};

use super::DOCUMENT;
use super::ask::{Field, Sort};
use super::call::WORD;
use super::endpoint::{Asked, Endpoint, Of};
use super::problem::MEDIA;
use crate::web::routes::Need;

const PROBLEM: &str = "Problem";
const DONE: &str = "Done";

/// Longest key of a request, and shortest.
const KEY: &str = "^[A-Za-z0-9._:-]{8,64}$";

pub(super) fn endpoint() -> Endpoint {
    Endpoint::open("document", "/api/v1/openapi.json", "This document", |_| {
        Box::pin(async { Ok(([(header::CONTENT_TYPE, "application/json")], DOCUMENT).into_response()) })
    })
}

/// The document.
pub(super) fn of(endpoints: &[Endpoint]) -> OpenApi {
    let mut paths = PathsBuilder::new();
    for endpoint in endpoints {
        paths = paths.path(endpoint.path.clone(), PathItem::new(method(endpoint), operation(endpoint)));
    }
    let text = "Gear of beach-launch boat stations: what is due, why, and what is done to it. The same powers as \
                the pages and the command line, with the rights of the person whose token it is. A cookie of the \
                pages works too, with the word of a page in the header Tallow-Word.";
    let licence =
        LicenseBuilder::new().name("MIT OR Apache-2.0").identifier(Some("MIT OR Apache-2.0")).build();
    let info = InfoBuilder::new().title("Tallow").version("1").description(Some(text)).license(Some(licence));
    let bearer =
        HttpBuilder::new().scheme(HttpAuthScheme::Bearer).description(Some("A token of /account.")).build();
    let cookie = ApiKey::Cookie(ApiKeyValue::new("__Host-tallow"));
    let components = ComponentsBuilder::new()
        .schema(PROBLEM, problem())
        .schema(DONE, deed())
        .security_scheme("token", SecurityScheme::Http(bearer))
        .security_scheme("session", SecurityScheme::ApiKey(cookie))
        .build();
    OpenApiBuilder::new().info(info.build()).paths(paths.build()).components(Some(components)).build()
}

fn method(endpoint: &Endpoint) -> HttpMethod {
    match endpoint.method {
        Method::POST => HttpMethod::Post,
        Method::PUT => HttpMethod::Put,
        _ => HttpMethod::Get,
    }
}

fn operation(endpoint: &Endpoint) -> Operation {
    let mut operation = OperationBuilder::new()
        .operation_id(Some(endpoint.id.replace('/', "_")))
        .summary(Some(endpoint.says.clone()));
    for name in endpoint.path.split('/').filter_map(|part| part.strip_prefix('{')?.strip_suffix('}')) {
        let place =
            ParameterBuilder::new().name(name).parameter_in(ParameterIn::Path).required(Required::True);
        operation = operation.parameter(place.schema(Some(text())).build());
    }
    for asked in &endpoint.asks {
        operation = operation.parameter(parameter(asked));
    }
    if let Some(fields) = &endpoint.body {
        let body = RequestBodyBuilder::new().required(Some(Required::True));
        operation = operation.request_body(Some(
            body.content("application/json", Content::new(Some(fields_of(fields)))).build(),
        ));
        let word =
            ParameterBuilder::new().name(WORD).parameter_in(ParameterIn::Header).required(Required::False);
        let says = "The word of a page, where the call comes by cookie.";
        operation = operation.parameter(word.description(Some(says)).schema(Some(text())).build());
    }
    for status in statuses(endpoint) {
        operation = operation.response(status.to_string(), response(endpoint, status));
    }
    if endpoint.need != Need::Nothing {
        for scheme in ["token", "session"] {
            operation = operation.security(SecurityRequirement::new(scheme, Vec::<String>::new()));
        }
    }
    operation.build()
}

/// Every status that an address can answer with.
fn statuses(endpoint: &Endpoint) -> Vec<u16> {
    let mut all = vec![endpoint.answer.0, 400, 405, 500, 503];
    if endpoint.need != Need::Nothing {
        all.extend([401, 403]);
    }
    if endpoint.path.contains('{') {
        all.push(404);
    }
    if endpoint.body.is_some() {
        all.extend([413, 415, 422]);
    }
    all.extend(&endpoint.also);
    all.sort_unstable();
    all
}

fn response(endpoint: &Endpoint, status: u16) -> Response {
    let says = match status {
        200 => "What was asked for",
        201 => "Done; the same to each copy of the request",
        304 => "It is as it was",
        400 => "It cannot be read as asked",
        401 => "Nobody is signed in, or the token is worth nothing any more",
        403 => "Somebody else may",
        404 => "Nothing is kept there",
        405 => "The address does not take that",
        412 => "It was changed meanwhile; both versions are told",
        413 => "More was sent than is taken",
        415 => "What was sent is no JSON",
        422 => "It cannot be right, or its key stands for another request",
        428 => "Say which version is changed",
        503 => "The records cannot be reached just now",
        _ => "Something went wrong inside",
    };
    let answer = ResponseBuilder::new().description(says);
    let answer = match status {
        200 | 201 => answer.content("application/json", Content::new(Some(endpoint.answer.1.clone()))),
        304 => answer,
        _ => answer.content(MEDIA, Content::new(Some(Ref::from_schema_name(PROBLEM)))),
    };
    if (status == 200 && endpoint.also.iter().any(|also| [304, 412].contains(also))) || status == 304 {
        let mark = HeaderBuilder::new().description(Some("Its version")).schema(Some(text())).build();
        return answer.header("ETag", mark).build();
    }
    answer.build()
}

fn parameter(asked: &Asked) -> Parameter {
    let (place, schema) = match asked.of {
        Of::Text => (ParameterIn::Query, text()),
        Of::Date => (ParameterIn::Query, date()),
        Of::Number(most) => (ParameterIn::Query, number(most)),
        Of::Header => (ParameterIn::Header, if asked.needed { matching(KEY) } else { text() }),
    };
    let required = if asked.needed { Required::True } else { Required::False };
    let made = ParameterBuilder::new().name(asked.name).parameter_in(place).required(required);
    made.description(Some(asked.says)).schema(Some(schema)).build()
}

fn kind(kind: Type) -> ObjectBuilder {
    ObjectBuilder::new().schema_type(kind)
}

fn text() -> RefOr<Schema> {
    kind(Type::String).into()
}

fn matching(pattern: &str) -> RefOr<Schema> {
    kind(Type::String).pattern(Some(pattern)).into()
}

fn date() -> RefOr<Schema> {
    kind(Type::String).format(Some(SchemaFormat::KnownFormat(KnownFormat::Date))).into()
}

fn number(most: usize) -> RefOr<Schema> {
    let least = if most == usize::MAX { 0.0 } else { 1.0 };
    let built = kind(Type::Integer).minimum(Some(least));
    match u32::try_from(most) {
        Ok(most) => built.maximum(Some(f64::from(most))).into(),
        Err(_) => built.maximum(Some(f64::from(u32::MAX))).into(),
    }
}

fn list_of(schema: impl Into<RefOr<Schema>>) -> RefOr<Schema> {
    ArrayBuilder::new().items(schema.into()).into()
}

/// An object of any members.
pub(super) fn free() -> RefOr<Schema> {
    kind(Type::Object).into()
}

/// An object with these texts, numbers and lists.
pub(super) fn object(texts: &[&str], numbers: &[&str], lists: &[&str]) -> RefOr<Schema> {
    let mut built = kind(Type::Object);
    for name in texts {
        built = built.property(*name, text()).required(*name);
    }
    for name in numbers {
        built = built.property(*name, kind(Type::Integer)).required(*name);
    }
    for name in lists {
        built = built.property(*name, list_of(empty())).required(*name);
    }
    built.into()
}

/// The answer of a list.
pub(super) fn rows(columns: &[&str]) -> RefOr<Schema> {
    let row =
        columns.iter().fold(kind(Type::Object), |row, name| row.property(*name, empty()).required(*name));
    let next = ObjectBuilder::new().schema_type(SchemaType::from_iter([Type::String, Type::Null]));
    let list = kind(Type::Object).property("rows", list_of(row)).required("rows");
    list.property("next", next).required("next").into()
}

/// The answer of a deed.
pub(super) fn done() -> RefOr<Schema> {
    Ref::from_schema_name(DONE).into()
}

fn deed() -> RefOr<Schema> {
    object(&["key", "done", "at"], &[], &["notes"])
}

/// The answer of a batch.
pub(super) fn outcomes() -> RefOr<Schema> {
    object(&[], &[], &["outcomes"])
}

fn problem() -> RefOr<Schema> {
    object(&["type", "title", "detail", "instance", "right"], &["status"], &["errors"])
}

/// The body of fields; any other is refused.
fn fields_of(fields: &[Field]) -> RefOr<Schema> {
    let mut built = kind(Type::Object).additional_properties(Some(AdditionalProperties::FreeForm(false)));
    for field in fields {
        built = built.property(field.name, field_of(field));
        if field.needed {
            built = built.required(field.name);
        }
    }
    built.into()
}

fn field_of(field: &Field) -> RefOr<Schema> {
    let says = Some(field.says);
    match field.sort {
        Sort::Text | Sort::Lines => kind(Type::String).description(says).into(),
        Sort::File => kind(Type::String).content_encoding("base64").description(says).into(),
        Sort::Word(words) => {
            kind(Type::String).enum_values(Some(words.iter().copied())).description(says).into()
        }
        Sort::Decimal => ObjectBuilder::new()
            .schema_type(SchemaType::from_iter([Type::Number, Type::String]))
            .description(says)
            .into(),
        Sort::Whole => kind(Type::Integer).minimum(Some(1.0)).description(says).into(),
        Sort::Truth => kind(Type::Boolean).description(says).into(),
        Sort::Texts => ArrayBuilder::new().items(text()).max_items(Some(200)).description(says).into(),
        Sort::Cells => {
            let cell = ObjectBuilder::new().schema_type(SchemaType::from_iter([Type::String, Type::Number]));
            let cells = kind(Type::Object)
                .additional_properties(Some(AdditionalProperties::RefOr(RefOr::T(cell.into()))));
            cells.description(says).into()
        }
        Sort::Requests => {
            let request = kind(Type::Object).property("key", matching(KEY)).required("key");
            let request =
                request.property("to", text()).required("to").property("body", free()).required("body");
            ArrayBuilder::new()
                .items(RefOr::T(Schema::from(request)))
                .max_items(Some(100))
                .description(says)
                .into()
        }
    }
}
