//! When a visit ends that is reached at a given time: a monotone piecewise-linear earliest departure.
//!
//! Work may take longer or shorter by the hour (sun, heat), and some hours are barred (rain, quiet hours). Waiting is
//! always possible, so the earliest departure never gets earlier by arriving later (the first-in-first-out property);
//! then arriving early is never worse, and one forward and one backward pass judge a whole round.

/// Starts from `from_s` to `to_s` are possible; the work then takes a time between `length_from_s` and `length_to_s`, linear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StartSpan {
    pub from_s: i32,
    pub to_s: i32,
    pub length_from_s: i32,
    pub length_to_s: i32,
}

/// Arrivals from `from_s` to `to_s` and what they lead to, linear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Piece {
    from_s: i32,
    to_s: i32,
    start: [i32; 2],
    finish: [i32; 2],
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Service {
    /// First start.
    pub open_s: i32,
    /// Last arrival.
    pub close_s: i32,
    /// Length where it is the same at every start.
    pub length_s: i32,
    /// Finishing later than this costs `late_cost_per_s`.
    pub due_s: i32,
    pub late_cost_per_s: i64,
    /// Empty where the length is the same and no hour between opening and closing is barred.
    pieces: Vec<Piece>,
}

impl Service {
    /// Work of one length in a hard window of starts.
    pub fn fixed(open_s: i32, close_s: i32, length_s: i32) -> Service {
        Service { open_s, close_s, length_s, due_s: i32::MAX, late_cost_per_s: 0, pieces: Vec::new() }
    }

    /// Work of varying length. Spans are sorted and do not overlap; `None` without any.
    pub fn varying(spans: &[StartSpan], due_s: i32, late_cost_per_s: i64) -> Option<Service> {
        let (first, last) = (spans.first()?, spans.last()?);
        let length_s = first.length_from_s;
        let plain = spans.len() == 1 && first.length_to_s == length_s;
        let pieces = if plain { Vec::new() } else { earliest_departures(spans) };
        Some(Service { open_s: first.from_s, close_s: last.to_s, length_s, due_s, late_cost_per_s, pieces })
    }

    pub fn is_plain(&self) -> bool {
        self.pieces.is_empty() && self.late_cost_per_s == 0
    }

    /// Start and finish for an arrival; `None` when it is too late.
    #[inline]
    pub fn at(&self, arrival_s: i32) -> Option<(i32, i32)> {
        if arrival_s > self.close_s {
            return None;
        }
        if self.pieces.is_empty() {
            let start = arrival_s.max(self.open_s);
            return Some((start, start + self.length_s));
        }
        let nth = self.pieces.partition_point(|piece| piece.to_s < arrival_s);
        let piece = self.pieces.get(nth)?;
        Some((piece.between(piece.start, arrival_s), piece.between(piece.finish, arrival_s)))
    }

    /// Latest arrival that lets one finish by `limit_s`; `None` when there is none.
    #[inline]
    pub fn latest_arrival(&self, limit_s: i32) -> Option<i32> {
        if self.pieces.is_empty() {
            let start = self.close_s.min(limit_s.saturating_sub(self.length_s));
            return (start >= self.open_s).then_some(start);
        }
        let nth = self.pieces.partition_point(|piece| piece.finish[0] <= limit_s);
        let piece = &self.pieces[nth.checked_sub(1)?];
        // The last arrival of the piece that is in time: finishes do not fall.
        let (mut low, mut high) = (piece.from_s, piece.to_s);
        while low < high {
            let middle = low + (high - low + 1) / 2;
            if piece.between(piece.finish, middle) <= limit_s {
                low = middle;
            } else {
                high = middle - 1;
            }
        }
        Some(low)
    }

    /// The same work begun at exactly this time; `None` where it cannot.
    pub fn pinned(&self, start_s: i32) -> Option<(i32, i32)> {
        self.at(start_s).filter(|&(start, _)| start == start_s)
    }

    pub fn late_cost(&self, finish_s: i32) -> i64 {
        if self.late_cost_per_s == 0 {
            0
        } else {
            i64::from((finish_s - self.due_s).max(0)) * self.late_cost_per_s
        }
    }
}

impl Piece {
    fn between(&self, [first, last]: [i32; 2], arrival_s: i32) -> i32 {
        let (past, all) = (i64::from((arrival_s - self.from_s).max(0)), i64::from(self.to_s - self.from_s));
        if all == 0 { first } else { first + (i64::from(last - first) * past / all) as i32 }
    }
}

/// From the last span backwards: start now where that ends no later than waiting for the best later start.
fn earliest_departures(spans: &[StartSpan]) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    // Start and finish of the best later start.
    let mut best: Option<(i32, i32)> = None;
    for (nth, span) in spans.iter().enumerate().rev() {
        let now = Piece {
            from_s: span.from_s,
            to_s: span.to_s,
            start: [span.from_s, span.to_s],
            finish: [span.from_s + span.length_from_s, span.to_s + span.length_to_s],
        };
        if best.is_none_or(|(_, finish)| now.finish[1] < finish) {
            best = Some((span.to_s, now.finish[1]));
        }
        let Some((start, finish)) = best else { continue };
        let waits =
            |from_s, to_s, (start, finish)| Piece { from_s, to_s, start: [start; 2], finish: [finish; 2] };
        let last_now = last_where(&now, |at| now.between(now.finish, at) <= finish);
        if now.finish[0] > now.finish[1] || last_now.is_none() {
            // It gets no longer by waiting, or waiting is always better.
            pieces.push(waits(span.from_s, span.to_s, (start, finish)));
        } else if let Some(last_now) = last_now {
            if last_now < span.to_s {
                pieces.push(waits(last_now + 1, span.to_s, (start, finish)));
            }
            let end = now.between(now.finish, last_now);
            pieces.push(Piece {
                to_s: last_now,
                start: [span.from_s, last_now],
                finish: [now.finish[0], end],
                ..now
            });
            if now.finish[0] <= finish {
                best = Some((span.from_s, now.finish[0]));
            }
        }
        let gap_from = if nth == 0 { i32::MIN / 4 } else { spans[nth - 1].to_s + 1 };
        if let Some(best) = best.filter(|_| gap_from < span.from_s) {
            pieces.push(waits(gap_from, span.from_s - 1, best));
        }
    }
    pieces.reverse();
    pieces
}

fn last_where(piece: &Piece, holds: impl Fn(i32) -> bool) -> Option<i32> {
    if !holds(piece.from_s) {
        return None;
    }
    let (mut low, mut high) = (piece.from_s, piece.to_s);
    while low < high {
        let middle = low + (high - low + 1) / 2;
        if holds(middle) { low = middle } else { high = middle - 1 }
    }
    Some(low)
}
