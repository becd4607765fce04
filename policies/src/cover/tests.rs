//! Cover along invented coasts. Expected minutes are launch time + miles / speed, worked by hand.

use super::*;
use Readiness::{NotReady, Ready, ReadyWithLimits, Unknown};

const SLOW: Boat = Boat { speed_kn: 18.0, launch_min: 12.0 };
const QUICK: Boat = Boat { speed_kn: 24.0, launch_min: 12.0 };

fn id(index: usize) -> StationId {
    StationId(u32::try_from(index).unwrap())
}

/// Miles north of the equator and east of the first meridian, near enough to a plane.
fn post(north: f64, east: f64, boat: Boat, readiness: Readiness) -> Post {
    let mile = 1.0 / nautical_miles(at(0.0, 0.0), at(1.0, 0.0));
    Post { point: Some(at(north * mile, east * mile)), flanks: Vec::new(), boat: Some(boat), readiness }
}

fn at(latitude: f64, longitude: f64) -> Point {
    Point { latitude, longitude }
}

fn coast(mut posts: Vec<Post>, flanks: &[(usize, usize)]) -> Coast {
    for (a, b) in flanks {
        posts[*a].flanks.push(id(*b));
    }
    Coast { posts, standard_minutes: 45 }
}

/// Stations along a straight coast at these miles, each the flank of the next.
fn line(stations: &[(f64, Boat, Readiness)]) -> Coast {
    let posts =
        stations.iter().map(|(miles, boat, readiness)| post(*miles, 0.0, *boat, *readiness)).collect();
    let flanks: Vec<(usize, usize)> = (1..stations.len()).map(|next| (next - 1, next)).collect();
    coast(posts, &flanks)
}

/// Ends, miles and minutes, in tenths.
fn told(stretch: &Stretch) -> (u32, u32, f64, f64) {
    let [a, b] = stretch.ends;
    (a.0, b.0, tenths(stretch.nm.unwrap()), tenths(stretch.wait.unwrap().minutes))
}

fn stretches(coast: &Coast) -> Vec<(u32, u32, f64, f64)> {
    coast.cover().stretches.iter().map(told).collect()
}

/// The middle of the demo's coast: Cawdle 0, Nethery 1, Quarle 2, and Bravell 3, an isle off the first two.
fn middle(nethery: Readiness, bravell: Readiness) -> Coast {
    // 9 miles from Cawdle, 8 from Nethery: (81 - 64 + 169) / 26 along the shore, the rest off it.
    let along = 186.0 / 26.0;
    let off = f64::sqrt(81.0 - along * along);
    let posts = vec![
        post(0.0, 0.0, SLOW, Ready),
        post(13.0, 0.0, SLOW, nethery),
        post(28.0, 0.0, SLOW, Ready),
        post(along, off, QUICK, bravell),
    ];
    coast(posts, &[(0, 1), (1, 2), (0, 3), (1, 3)])
}

/// 7.5 nm at 18 kn and 12 min.
#[test]
fn fifteen_miles_between_equal_boats_are_thirty_seven_minutes() {
    let found = stretches(&middle(Ready, Ready));
    assert!(found.contains(&(1, 2, 15.0, 37.0)), "{found:?}");
    let coast = line(&[(0.0, SLOW, Ready), (15.0, SLOW, Ready)]);
    assert!((coast.cover().stretches[0].wait.unwrap().minutes - 37.0).abs() < 1e-9);
    assert!(coast.over(37.0).abs() < 1e-9);
}

/// 14 nm at 18 kn and 12 min, against 45 min.
#[test]
fn with_nethery_and_bravell_off_cawdle_to_quarle_is_a_gap_of_nearly_fourteen_minutes() {
    let coast = middle(NotReady, NotReady);
    let cover = coast.cover();
    let [stretch] = &cover.stretches[..] else { panic!("{:?}", cover.stretches) };
    assert_eq!(told(stretch), (0, 2, 28.0, 58.7));
    assert_eq!(stretch.past, [id(1)]);
    assert!((coast.over(stretch.wait.unwrap().minutes) - 13.7).abs() < 1e-9);
    assert_eq!(cover.together, [[id(1), id(3)]]);
    let [isle] = &cover.asides[..] else { panic!("{:?}", cover.asides) };
    let (from, miles, minutes) = isle.from.unwrap();
    assert_eq!((isle.station, from, tenths(miles), tenths(minutes)), (id(3), id(0), 9.0, 42.0));
}

/// Half-way of 28 nm lies 1 nm beyond Nethery; Bravell's boat is there after 9 nm at 24 kn: 34.5 min, not 58.7. The worst
/// points are then where it meets the two others': 21 nm and 23 nm at 42 kn together, from Cawdle and from Quarle.
#[test]
fn a_third_boat_that_is_nearer_counts() {
    let cover = middle(NotReady, Ready).cover();
    let whole = cover.stretches.iter().find(|stretch| stretch.ends == [id(0), id(2)]).unwrap();
    let wait = whole.wait.unwrap();
    assert_eq!((tenths(wait.alone), wait.nearer), (58.7, Some(id(3))));
    assert!((wait.minutes - (12.0 + 60.0 * 23.0 / 42.0)).abs() < 1e-3, "{}", wait.minutes);
    let short = cover.stretches.iter().find(|stretch| stretch.ends == [id(2), id(3)]).unwrap();
    assert_eq!(told(short), (2, 3, 23.0, 44.9));
    assert_eq!(cover.together, Vec::<[StationId; 2]>::new());
}

/// They meet after 20 / (18 + 24) h.
#[test]
fn unlike_boats_meet_nearer_to_the_slow_one() {
    let coast = line(&[(0.0, SLOW, Ready), (20.0, QUICK, Ready)]);
    assert_eq!(stretches(&coast), [(0, 1, 20.0, tenths(12.0 + 60.0 * 20.0 / 42.0))]);
}

/// A boat that is 100 min in launching never gets to a point before one that is over there in 12 + 20 min.
#[test]
fn a_boat_too_slow_to_launch_leaves_the_whole_stretch_to_the_other() {
    let late = Boat { speed_kn: 18.0, launch_min: 100.0 };
    let coast = line(&[(0.0, SLOW, Ready), (6.0, late, Ready)]);
    assert_eq!(stretches(&coast), [(0, 1, 6.0, 32.0)]);
}

#[test]
fn limits_count_as_ready_and_an_unknown_readiness_as_off() {
    let coast = line(&[(0.0, SLOW, ReadyWithLimits), (10.0, SLOW, Unknown), (24.0, SLOW, Ready)]);
    assert_eq!(stretches(&coast), [(0, 2, 24.0, 52.0)]);
}

/// 13 nm at 18 kn to the nearer, 24 nm to the farther of two off stations at the end.
#[test]
fn off_stations_at_the_end_of_the_coast_are_reached_from_the_last_ready_one() {
    let cover = line(&[(0.0, SLOW, NotReady), (11.0, SLOW, NotReady), (24.0, SLOW, Ready)]).cover();
    let reached: Vec<_> = cover.asides.iter().map(|aside| (aside.station, aside.from.unwrap())).collect();
    assert!(cover.stretches.is_empty());
    assert_eq!(cover.together, [[id(0), id(1)]]);
    for ((station, (from, miles, minutes)), expected) in
        reached.iter().zip([(0, 24.0, 92.0), (1, 13.0, 55.3)])
    {
        assert_eq!(
            (station.0, from.0, tenths(*miles), tenths(*minutes)),
            (expected.0, 2, expected.1, expected.2)
        );
    }
}

#[test]
fn the_way_past_off_stations_ends_at_the_first_ready_one() {
    let coast = line(&[(0.0, SLOW, Ready), (10.0, SLOW, NotReady), (20.0, SLOW, Ready), (30.0, SLOW, Ready)]);
    assert_eq!(stretches(&coast), [(0, 2, 20.0, 45.3), (2, 3, 10.0, 28.7)]);
}

#[test]
fn what_is_missing_is_said_instead_of_a_time() {
    let mut coast = line(&[(0.0, SLOW, Ready), (10.0, SLOW, NotReady), (20.0, SLOW, Ready)]);
    coast.posts[1].point = None;
    coast.posts[2].boat = None;
    let cover = coast.cover();
    let stretch = &cover.stretches[0];
    assert_eq!((stretch.nm, stretch.wait), (None, None));
    assert_eq!(stretch.lacks, [Lack::Point(id(1)), Lack::Boat(id(2))]);
    coast.posts[1].point = coast.posts[0].point;
    assert_eq!(coast.cover().stretches[0].lacks, [Lack::Boat(id(2))]);
    assert_eq!(coast.cover().stretches[0].wait, None);
}

#[test]
fn an_end_that_nobody_can_be_timed_to_says_why_and_a_station_alone_has_no_comer() {
    let mut coast = line(&[(0.0, SLOW, Ready), (10.0, SLOW, NotReady)]);
    coast.posts[0].boat = None;
    coast.posts.push(post(500.0, 0.0, SLOW, NotReady));
    let asides = coast.cover().asides;
    assert_eq!((asides[0].from, &asides[0].lacks[..]), (None, &[Lack::Boat(id(0))][..]));
    assert_eq!((asides[1].station, asides[1].from, asides[1].lacks.len()), (id(2), None, 0));
}

/// A way of known length is taken before one that cannot be measured, however short that may be.
#[test]
fn a_measured_way_goes_first() {
    let mut posts = vec![
        post(0.0, 0.0, SLOW, Ready),
        post(5.0, 1.0, SLOW, NotReady),
        post(5.0, -9.0, SLOW, NotReady),
        post(10.0, 0.0, SLOW, Ready),
    ];
    posts[1].point = None;
    let cover = coast(posts, &[(0, 1), (1, 3), (0, 2), (2, 3)]).cover();
    assert_eq!(cover.stretches[0].past, [id(2)]);
    assert_eq!(cover.asides[0].lacks, [Lack::Point(id(1))]);
}

#[test]
fn stations_that_flank_nobody_have_no_cover() {
    let coast = coast(vec![post(0.0, 0.0, SLOW, NotReady), post(9.0, 0.0, SLOW, Ready)], &[]);
    assert_eq!(coast.cover(), Cover::default());
}

/// Against brute force on a plane: the first boat's time at ten thousand points of the stretch.
#[test]
fn no_point_of_a_stretch_waits_longer_than_the_worst() {
    let spans = [(7.0, 13.0), (13.0, 4.0), (22.5, 9.0)];
    for (index, (first, second)) in spans.into_iter().enumerate() {
        let isle = 2.0 + 3.0 * f64::from(u32::try_from(index).unwrap());
        let posts = vec![
            post(0.0, 0.0, SLOW, Ready),
            post(first, 0.0, SLOW, NotReady),
            post(first + second, 0.0, QUICK, Ready),
            post(first, isle, QUICK, Ready),
        ];
        let cover = coast(posts, &[(0, 1), (1, 2), (1, 3)]).cover();
        let stretch = cover.stretches.iter().find(|stretch| stretch.ends == [id(0), id(2)]).unwrap();
        let length = first + second;
        let longest = (0..=10_000).map(|step| {
            let point = length * f64::from(step) / 10_000.0;
            let by_isle = QUICK.minutes(isle + (point - first).abs());
            SLOW.minutes(point).min(QUICK.minutes(length - point)).min(by_isle)
        });
        let longest = longest.fold(0.0, f64::max);
        let worst = stretch.wait.unwrap().minutes;
        assert!(longest <= worst + 1e-4 && worst < longest + 0.02, "{longest} {worst}");
    }
}
