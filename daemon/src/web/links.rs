//! Addresses of pages. A page that replays a day hands that day on to every page it leads to.

use std::fmt::Write;

use crate::files::Filed;

/// A text that leads somewhere.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Link {
    pub(super) text: String,
    pub(super) href: String,
}

/// Makes addresses that keep the replayed day.
#[derive(Clone, Debug, Default)]
pub(super) struct Links {
    replay: Vec<(&'static str, String)>,
}

impl Links {
    pub(super) fn replaying(replay: Vec<(&'static str, String)>) -> Links {
        Links { replay }
    }

    /// The replayed day as fields of a form.
    pub(super) fn fields(&self) -> &[(&'static str, String)] {
        &self.replay
    }

    fn address(&self, path: &str, more: &[(&str, &str)]) -> String {
        let replay = self.replay.iter().map(|(name, value)| (*name, value.as_str()));
        let mut text = path.to_owned();
        for (at, (name, value)) in more.iter().copied().chain(replay).enumerate() {
            let join = if at == 0 { '?' } else { '&' };
            let _ = write!(text, "{join}{name}={}", encoded(value, false));
        }
        text
    }

    pub(super) fn region(&self) -> String {
        self.address("/", &[])
    }

    pub(super) fn whole(&self, path: &str) -> String {
        self.address(path, &[("all", "1")])
    }

    pub(super) fn rules(&self) -> String {
        self.address("/rules", &[])
    }

    pub(super) fn mail(&self) -> String {
        self.address("/mail", &[])
    }

    pub(super) fn station(&self, slug: &str) -> String {
        self.address(&format!("/station/{}", encoded(slug, false)), &[])
    }

    pub(super) fn coast(&self) -> String {
        self.address("/coast", &[])
    }

    /// The coast on another day.
    pub(super) fn coast_on(&self, day: jiff::civil::Date) -> String {
        let known = self.replay.iter().filter(|(name, _)| *name != "as_of").cloned();
        let day = [("as_of", day.to_string())].into_iter();
        Links::replaying(day.chain(known).collect()).coast()
    }

    pub(super) fn line_ahead(&self) -> String {
        self.address("/ahead", &[])
    }

    pub(super) fn station_ahead(&self, slug: &str) -> String {
        self.address(&format!("/station/{}/ahead", encoded(slug, false)), &[])
    }

    pub(super) fn labels(&self, slug: &str) -> String {
        self.address("/labels", &[("station", slug)])
    }

    pub(super) fn label(&self, tag: &str) -> String {
        self.address("/labels", &[("items", tag)])
    }

    pub(super) fn stores(&self) -> String {
        self.address("/stores", &[])
    }

    pub(super) fn drums(&self) -> String {
        self.address("/stores/drums", &[])
    }

    pub(super) fn drum(&self, tag: &str) -> String {
        self.address(&format!("/stores/drum/{}", encoded(tag, true)), &[])
    }

    pub(super) fn orders(&self) -> String {
        self.address("/stores/orders", &[])
    }

    pub(super) fn order(&self, number: &str) -> String {
        self.address(&format!("/stores/order/{}", encoded(number, true)), &[])
    }

    /// A part that stores hold.
    pub(super) fn spare(&self, part: &str) -> String {
        self.address(&format!("/stores/part/{}", encoded(part, true)), &[])
    }

    pub(super) fn to_spare(&self, part: &str) -> Link {
        Link { text: part.to_owned(), href: self.spare(part) }
    }

    pub(super) fn to_station(&self, name: &str, slug: &str) -> Link {
        Link { text: name.to_owned(), href: self.station(slug) }
    }

    /// A further part of a page that is too long for one.
    pub(super) fn part(&self, path: &str, more: &[(&str, &str)], number: usize) -> String {
        let number = number.to_string();
        let more: Vec<(&str, &str)> = more.iter().copied().chain([("part", number.as_str())]).collect();
        self.address(path, &more)
    }

    pub(super) fn register(&self, slug: &str) -> String {
        self.address(&format!("/station/{}/register", encoded(slug, false)), &[])
    }

    pub(super) fn item_path(tag: &str) -> String {
        format!("/item/{}", encoded(tag, true))
    }

    pub(super) fn item(&self, tag: &str) -> String {
        self.address(&Links::item_path(tag), &[])
    }

    pub(super) fn to_item(&self, tag: &str) -> Link {
        Link { text: tag.to_owned(), href: self.item(tag) }
    }

    pub(super) fn why(&self, tag: &str, rule: &str) -> String {
        self.address(&format!("{}/why/{}", Links::item_path(tag), encoded(rule, false)), &[])
    }

    pub(super) fn report(&self, number: &str) -> String {
        self.address(&format!("/report/{}", encoded(number, true)), &[])
    }

    pub(super) fn out_of_service(&self, tag: &str) -> String {
        self.address(&format!("{}/tag", Links::item_path(tag)), &[])
    }

    pub(super) fn history(&self, tag: &str) -> String {
        self.address(&format!("{}/history", Links::item_path(tag)), &[])
    }

    pub(super) fn card(&self, slug: &str) -> String {
        self.address(&format!("/station/{}/card", encoded(slug, false)), &[])
    }

    /// A stored file; it is the same on whatever day a page is read as of.
    pub(super) fn file(filed: &Filed) -> String {
        format!("/file/{}", filed.digest)
    }

    pub(super) fn proof(&self, tag: &str) -> String {
        self.address(&format!("/proof/{}", encoded(tag, true)), &[])
    }

    pub(super) fn rule(&self, id: &str) -> String {
        self.address(&format!("/rules/{}", encoded(id, false)), &[])
    }
}

/// Percent-encodes everything but RFC 3986's unreserved characters, and slashes where they may stay.
pub(super) fn encoded(text: &str, slashes: bool) -> String {
    text.bytes().fold(String::with_capacity(text.len()), |mut out, byte| {
        let plain = byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) || (slashes && byte == b'/');
        if plain {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_keep_their_slashes_and_nothing_else_that_means_something() {
        let links = Links::default();
        assert_eq!(links.item("LC-2/07"), "/item/LC-2/07");
        assert_eq!(links.item("a?b#c%\"<é"), "/item/a%3Fb%23c%25%22%3C%C3%A9");
        assert_eq!(links.why("LC-2/07", "carriage-weekly"), "/item/LC-2/07/why/carriage-weekly");
    }

    #[test]
    fn a_replayed_day_is_handed_on() {
        let links = Links::replaying(vec![("as_of", "2026-10-01".into()), ("known_on", "2026-09-30".into())]);
        assert_eq!(links.station("qua"), "/station/qua?as_of=2026-10-01&known_on=2026-09-30");
        assert_eq!(links.whole("/"), "/?all=1&as_of=2026-10-01&known_on=2026-09-30");
    }
}
