//! A certificate taken in from its item's page, with the paper itself.

use axum::response::Response;

use super::blank::{Blank, Field, Sort};
use super::once::Once;
use super::{given, may, owner};
use crate::desk::HandedIn;
use crate::register::{Faults, Sheet, read_certificate};
use crate::rights::Act;
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Form, Posted};
use crate::web::visit::Visit;

/// The largest file, and the form around it.
pub(super) const MOST: usize = 20 * 1024 * 1024 + 64 * 1024;

/// The form.
///
/// # Errors
/// No such item, somebody who may not, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let station = owner(&visit.web, visit.name()).await?;
    may(visit, Act::AddCertificate, station.as_deref())?;
    blank(visit.name()).page(visit)
}

fn blank(tag: &str) -> Blank {
    Blank {
        upload: true,
        lead: "As it stands on the paper.".to_owned(),
        ..Blank::new(format!("A certificate of {tag}"), format!("/certificate/{}", encoded(tag, true)))
    }
    .with(Field::new("number", "Number", Sort::Line))
    .with(Field::new("issuer", "Issued by", Sort::Line))
    .with(Field::new("issued_on", "Issued on", Sort::Day))
    .with(Field::new("valid_until", "Valid until, where it says so", Sort::Day))
    .with(
        Field::new("file", "The paper itself", Sort::File(".pdf,.png,.jpg,.jpeg"))
            .beside("PDF, PNG or JPEG, up to 20 MiB."),
    )
    .with(
        Field::new("work", "Key of the work that it proves, where it proves any", Sort::Line)
            .beside("The number then goes onto that record."),
    )
    .with(Field::new("several", "One report for several items", Sort::Yes))
    .press("Take it in")
    .way(format!("Back to {tag}"), Links::item_path(tag))
}

/// Takes it in.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form, tag) = (&posted.visit, &posted.form, posted.visit.name());
    let desk = &visit.web.desk;
    may(visit, Act::AddCertificate, owner(&visit.web, tag).await?.as_deref())?;
    let once = Once::alone(desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(crate::web::posted::see(led));
    }
    let faults = Faults::default();
    let register = desk.store.register(None).await?;
    let read = read_certificate(&desk.set, &register, desk.now(), &sheet(tag, form), &faults);
    let blank = blank(tag).filled(form);
    let Some(paper) = read else {
        let told = faults.take().0;
        return told
            .iter()
            .fold(blank, |blank, fault| blank.wrong_at(&fault.column, &fault.message))
            .page(visit);
    };
    let proves = given(form, "work").map(str::to_owned);
    let handed = HandedIn { paper, several: form.field("several") == "yes", proves };
    let files = &visit.web.files;
    let take = || posted.file.as_ref().map(|file| files.take_in(&file.name, &file.bytes)).transpose();
    match desk.add_certificate(handed, take).await {
        Ok(_) => once.done(desk, &Links::item_path(tag)).await,
        Err(error) => blank.refused(error)?.page(visit),
    }
}

/// One row of `certificates.csv`, so that it is judged as an import would judge it.
fn sheet(tag: &str, form: &Form) -> Sheet {
    let cells = [
        ("key", format!("{}/{tag}", form.field("number"))),
        ("item", tag.to_owned()),
        ("number", form.field("number").to_owned()),
        ("issuer", form.field("issuer").to_owned()),
        ("issued_on", form.field("issued_on").to_owned()),
        ("valid_until", form.field("valid_until").to_owned()),
    ];
    let (header, row) = cells.into_iter().map(|(name, cell)| (name.to_owned(), cell)).unzip();
    Sheet { name: "certificates".to_owned(), file: "certificate".to_owned(), header, rows: vec![(1, row)] }
}
