//! How far a phone has read in the list of what it may see, and when it must begin anew.

use serde::{Deserialize, Serialize};

/// A place in the list of rows by the number of the change that touched them last, then by kind and id.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// The timeline it belongs to: a restored server begins another one.
    pub epoch: String,
    /// The shape of the rows that the phone understands.
    pub schema: i32,
    pub seq: i64,
    /// The last row that was read of this number; none: all of it.
    pub row: Option<(String, String)>,
    /// While everything is read for the first time: the number of the last change when that began.
    pub began: Option<i64>,
}

/// True if a place says nothing any more: it is of another timeline or another shape, lies ahead of the server (which
/// was then restored without saying so), or what left the view since may be forgotten.
///
/// Rows that left are forgotten up to and with the number `floor`. A place inside of that number is too old, though the
/// number is the same; and a first reading is as old as its beginning, not as the rows that it has come to, else it would
/// begin anew at every page.
pub fn must_restart(place: &Place, epoch: &str, schema: i32, newest: i64, floor: i64) -> bool {
    let forgotten = match (place.began, &place.row) {
        (Some(began), _) => began < floor,
        (None, Some(_)) => place.seq <= floor && floor > 0,
        (None, None) => place.seq < floor,
    };
    place.epoch != epoch || place.schema != schema || place.seq > newest || forgotten
}

#[cfg(test)]
mod tests {
    use super::{Place, must_restart};

    fn at(seq: i64, row: bool, began: Option<i64>) -> Place {
        let row = row.then(|| ("job".to_owned(), "a".to_owned()));
        Place { epoch: "e".into(), schema: 1, seq, row, began }
    }

    #[test]
    fn a_place_below_the_floor_begins_anew() {
        let restart = |place: &Place, floor| must_restart(place, "e", 1, 9, floor);
        assert!(!restart(&at(5, false, None), 5) && restart(&at(4, false, None), 5));
        // Inside of the floor's own number.
        assert!(restart(&at(5, true, None), 5) && !restart(&at(6, true, None), 5));
        assert!(!restart(&at(0, true, None), 0));
        // A first reading goes through old rows.
        assert!(!restart(&at(2, true, Some(7)), 5) && restart(&at(2, true, Some(4)), 5));
    }

    #[test]
    fn a_place_of_elsewhere_begins_anew() {
        let place = at(5, false, None);
        assert!(!must_restart(&place, "e", 1, 5, 0));
        assert!(must_restart(&place, "f", 1, 5, 0), "another timeline");
        assert!(must_restart(&place, "e", 2, 5, 0), "another shape");
        assert!(must_restart(&place, "e", 1, 4, 0), "ahead of the server");
    }
}
