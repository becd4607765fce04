//! Drawings as plain SVG. Each says in words what it shows, leans on classes alone, since the content policy forbids
//! styles within a page, and stands twice on a page: wide, and narrow for a phone.

pub(super) mod axis;
pub(super) mod bars;
pub(super) mod drum;
pub(super) mod life;
pub(super) mod odds;
pub(super) mod shore;
pub(super) mod stock;
pub(super) mod strip;
#[cfg(test)]
mod tests;
pub(super) mod wear;

use std::fmt::Write;

/// A place on a drawing: right and down.
pub(super) type Spot = (f64, f64);

/// The two widths that every drawing is made in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Size {
    Wide,
    Narrow,
}

impl Size {
    pub(super) const fn width(self) -> f64 {
        match self {
            Size::Wide => 960.0,
            Size::Narrow => 358.0,
        }
    }

    pub(super) fn is_narrow(self) -> bool {
        self == Size::Narrow
    }

    const fn class(self) -> &'static str {
        match self {
            Size::Wide => "wide",
            Size::Narrow => "narrow",
        }
    }
}

/// The same drawing in both widths; the page shows the one that fits.
pub(super) fn both(draw: impl Fn(Size) -> String) -> String {
    draw(Size::Wide) + &draw(Size::Narrow)
}

/// A drawing under way.
pub(super) struct Drawing {
    svg: String,
    hatch: String,
}

impl Drawing {
    /// `id` is the page's own for it, `title` what a screen reader says instead of it.
    pub(super) fn new(id: &str, size: Size, height: f64, title: &str) -> Drawing {
        let (class, width) = (size.class(), size.width());
        let id = format!("{}-{class}", escaped(id));
        let hatch = format!("{id}-hatch");
        let svg = format!(
            "<svg class=\"drawing {class}\" role=\"img\" aria-labelledby=\"{id}\" viewBox=\"0 0 {width} {height:.0}\" \
             width=\"{width}\" height=\"{height:.0}\"><title id=\"{id}\">{}</title><defs><pattern id=\"{hatch}\" \
             patternUnits=\"userSpaceOnUse\" width=\"6\" height=\"6\" patternTransform=\"rotate(45)\">\
             <path class=\"hatching\" d=\"M3 0V6\"/></pattern></defs>",
            escaped(title)
        );
        Drawing { svg, hatch }
    }

    pub(super) fn text(&mut self, class: &str, (x, y): Spot, text: &str) {
        let text = escaped(text);
        let (x, y) = (number(x), number(y));
        let _ = write!(self.svg, "<text class=\"{class}\" x=\"{x}\" y=\"{y}\">{text}</text>");
    }

    pub(super) fn line(&mut self, class: &str, from: Spot, to: Spot) {
        self.run(class, &[from, to]);
    }

    /// Straight pieces from spot to spot.
    pub(super) fn run(&mut self, class: &str, spots: &[Spot]) {
        let _ = write!(self.svg, "<path class=\"{class}\" d=\"{}\"/>", through(spots));
    }

    /// A closed shape.
    pub(super) fn shape(&mut self, class: &str, spots: &[Spot]) {
        let _ = write!(self.svg, "<path class=\"{class}\" d=\"{}Z\"/>", through(spots));
    }

    /// A closed shape, hatched.
    pub(super) fn hatched(&mut self, spots: &[Spot]) {
        let _ = write!(
            self.svg,
            "<path class=\"hatched\" fill=\"url(#{})\" d=\"{}Z\"/>",
            self.hatch,
            through(spots)
        );
    }

    pub(super) fn block(&mut self, class: &str, from: Spot, to: Spot) {
        self.shape(class, &[from, (to.0, from.1), to, (from.0, to.1)]);
    }

    pub(super) fn hatched_block(&mut self, from: Spot, to: Spot) {
        self.hatched(&[from, (to.0, from.1), to, (from.0, to.1)]);
    }

    pub(super) fn circle(&mut self, class: &str, (x, y): Spot, radius: f64) {
        let _ = write!(self.svg, "<circle class=\"{class}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius:.1}\"/>");
    }

    pub(super) fn cross(&mut self, class: &str, (x, y): Spot, arm: f64) {
        self.line(class, (x - arm, y - arm), (x + arm, y + arm));
        self.line(class, (x - arm, y + arm), (x + arm, y - arm));
    }

    pub(super) fn diamond(&mut self, class: &str, (x, y): Spot, arm: f64) {
        self.shape(class, &[(x, y - arm), (x + arm, y), (x, y + arm), (x - arm, y)]);
    }

    pub(super) fn done(self) -> String {
        self.svg + "</svg>"
    }
}

/// Level and upright pieces say one number alone.
fn through(spots: &[Spot]) -> String {
    let mut path = String::with_capacity(spots.len() * 8);
    let mut last: Option<(String, String)> = None;
    for (x, y) in spots.iter().map(|(x, y)| (number(*x), number(*y))) {
        let _ = match &last {
            None => write!(path, "M{x} {y}"),
            Some((_, before)) if *before == y => write!(path, "H{x}"),
            Some((before, _)) if *before == x => write!(path, "V{y}"),
            Some(_) => write!(path, "L{x} {y}"),
        };
        last = Some((x, y));
    }
    path
}

/// To a tenth, and no more letters than that needs.
fn number(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

/// A text that means nothing to a page but itself.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&#38;"),
            '<' => out.push_str("&#60;"),
            '>' => out.push_str("&#62;"),
            '"' => out.push_str("&#34;"),
            '\'' => out.push_str("&#39;"),
            _ => out.push(letter),
        }
    }
    out
}

/// A text over as many lines as it needs, each of at most so many letters where its words allow that.
pub(super) fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= letters => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// A text of at most so many letters.
pub(super) fn cut(text: &str, letters: usize) -> String {
    if text.chars().count() <= letters {
        return text.to_owned();
    }
    let kept: String = text.chars().take(letters.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}
