//! Distances over the sea.

use std::f64::consts::PI;

/// Mean radius of the Earth, (2a + b)/3 of the GRS 80 ellipsoid (IUGG).
const EARTH_RADIUS_KM: f64 = 6371.0088;
/// The international nautical mile (ISO 80000-3; from memory).
const NAUTICAL_MILE_KM: f64 = 1.852;

/// A place on the Earth, in decimal degrees, north and east above nought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Latitude.
    pub latitude: f64,
    /// Longitude.
    pub longitude: f64,
}

/// The great-circle distance on a sphere of the Earth's mean radius, by haversines: steady for near points too.
/// Against the ellipsoid it is off by about half a percent at most (from memory).
pub fn nautical_miles(a: Point, b: Point) -> f64 {
    2.0 * EARTH_RADIUS_KM / NAUTICAL_MILE_KM * haversine(a, b).sqrt().min(1.0).asin()
}

fn haversine(a: Point, b: Point) -> f64 {
    let half_sine = |from: f64, to: f64| ((to - from) * PI / 360.0).sin().powi(2);
    let narrowed = a.latitude.to_radians().cos() * b.latitude.to_radians().cos();
    half_sine(a.latitude, b.latitude) + narrowed * half_sine(a.longitude, b.longitude)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(latitude: f64, longitude: f64) -> Point {
        Point { latitude, longitude }
    }

    /// The GRS 80 ellipsoid: a = 6378.137 km, b = 6356.752 314 1 km (from memory).
    #[test]
    fn the_radius_is_the_mean_of_the_ellipsoids_axes() {
        let (a, b) = (6_378.137, 6_356.752_314_1);
        let mean = (2.0 * a + b) / 3.0;
        assert!((mean - EARTH_RADIUS_KM).abs() < 5e-5, "{mean}");
    }

    /// A worked example of a navigators' handbook (the Aviation Formulary, "distance between points"): 33°57'N 118°24'W
    /// to 40°38'N 73°47'W is an angle of 0.623585 at the Earth's centre.
    #[test]
    fn a_published_great_circle_comes_out() {
        let from = point(33.0 + 57.0 / 60.0, -(118.0 + 24.0 / 60.0));
        let to = point(40.0 + 38.0 / 60.0, -(73.0 + 47.0 / 60.0));
        let angle = nautical_miles(from, to) * NAUTICAL_MILE_KM / EARTH_RADIUS_KM;
        assert!((angle - 0.623_585).abs() < 1e-6, "{angle}");
    }

    #[test]
    fn quarters_of_the_globe_and_the_date_line_are_exact() {
        let quarter = EARTH_RADIUS_KM / NAUTICAL_MILE_KM * PI / 2.0;
        for (a, b, quarters) in [
            (point(0.0, 0.0), point(0.0, 90.0), 1.0),
            (point(90.0, 17.0), point(0.0, -31.0), 1.0),
            (point(-90.0, 0.0), point(90.0, 0.0), 2.0),
            (point(12.0, 30.0), point(-12.0, -150.0), 2.0),
            (point(0.0, 179.0), point(0.0, -179.0), 2.0 / 90.0),
            (point(5.0, 5.0), point(5.0, 5.0), 0.0),
        ] {
            assert!((nautical_miles(a, b) - quarters * quarter).abs() < 1e-6, "{a:?} {b:?}");
        }
    }
}
