//! Vehicle identification numbers: seventeen characters and the check digit at place nine.

use serde::{Deserialize, Serialize};
use std::fmt;
use utoipa::ToSchema;

/// Weight of each place in the check sum; place nine is the check digit itself (49 CFR 565.15, table).
const WEIGHTS: [u32; 17] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];
/// Place of the check digit, counted from 0.
const CHECK_PLACE: usize = 8;

/// Seventeen characters, capital letters without I, O and Q, and digits.
///
/// ```
/// use domain::vin::{CheckDigit, Vin};
/// let vin = Vin::parse("1m8gdm9axkp042788")?;
/// assert_eq!((vin.as_str(), vin.check()), ("1M8GDM9AXKP042788", CheckDigit::Right));
/// # Ok::<(), domain::vin::VinError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "String", into = "String")]
#[schema(value_type = String, pattern = "^[A-HJ-NPR-Z0-9]{17}$", example = "1M8GDM9AXKP042788")]
pub struct Vin(String);

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum VinError {
    #[error("a VIN has 17 characters, this one has {0}")]
    Length(usize),
    /// `place` counts from 1.
    #[error("`{character}` at place {place} cannot stand in a VIN")]
    Character { character: char, place: usize },
}

/// What the check digit says. A wrong one is refused only where the digit is mandatory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckDigit {
    Right,
    /// Elsewhere makers may use place nine freely: worth a second look, no more.
    Warning {
        found: char,
        expected: char,
    },
    Wrong {
        found: char,
        expected: char,
    },
}

impl Vin {
    /// Spaces around the text are dropped and small letters raised; anything else must be right.
    pub fn parse(text: &str) -> Result<Vin, VinError> {
        let vin = text.trim().to_ascii_uppercase();
        let wrong = vin.chars().enumerate().find(|(_, character)| value(*character).is_none());
        match (wrong, vin.chars().count()) {
            (_, length) if length != WEIGHTS.len() => Err(VinError::Length(length)),
            (Some((place, character)), _) => Err(VinError::Character { character, place: place + 1 }),
            (None, _) => Ok(Vin(vin)),
        }
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Sum of value times weight over all places (49 CFR 565.15).
    pub fn weighted_sum(&self) -> u32 {
        self.0.chars().zip(WEIGHTS).map(|(character, weight)| value(character).unwrap_or(0) * weight).sum()
    }

    /// The digit the other sixteen characters call for: the sum modulo 11, with X for ten (49 CFR 565.15).
    pub fn expected_check_digit(&self) -> char {
        char::from_digit(self.weighted_sum() % 11, 10).unwrap_or('X')
    }

    pub fn check(&self) -> CheckDigit {
        let expected = self.expected_check_digit();
        match self.0.chars().nth(CHECK_PLACE) {
            Some(found) if found == expected => CheckDigit::Right,
            found if self.check_digit_is_mandatory() => {
                CheckDigit::Wrong { found: found.unwrap_or(' '), expected }
            }
            found => CheckDigit::Warning { found: found.unwrap_or(' '), expected },
        }
    }

    /// Made in North America (1 to 5) or China (L): there the digit is mandatory (49 CFR 565; China from memory).
    /// Vehicles made elsewhere for the North American market carry it too, which the VIN alone does not tell.
    pub fn check_digit_is_mandatory(&self) -> bool {
        self.0.starts_with(['1', '2', '3', '4', '5', 'L'])
    }
}

/// Value of a character in the check sum; none for I, O, Q and anything else (49 CFR 565.15, table).
fn value(character: char) -> Option<u32> {
    match character {
        '0'..='9' => character.to_digit(10),
        'A'..='H' => Some(character as u32 - 'A' as u32 + 1),
        'J'..='N' => Some(character as u32 - 'J' as u32 + 1),
        'P' => Some(7),
        'R' => Some(9),
        'S'..='Z' => Some(character as u32 - 'S' as u32 + 2),
        _ => None,
    }
}

impl fmt::Display for Vin {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.0)
    }
}

impl TryFrom<String> for Vin {
    type Error = VinError;
    fn try_from(text: String) -> Result<Vin, VinError> {
        Vin::parse(&text)
    }
}

impl From<Vin> for String {
    fn from(vin: Vin) -> String {
        vin.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_mistyped_digit_is_wrong_in_north_america_and_a_warning_in_europe() {
        let check = |text| Vin::parse(text).unwrap().check();
        assert_eq!(check("1M8GDM9A1KP042788"), CheckDigit::Wrong { found: '1', expected: 'X' });
        assert!(matches!(check("WM8GDM9AZKP042788"), CheckDigit::Warning { found: 'Z', .. }));
    }

    #[test]
    fn letters_have_the_values_of_the_published_table() {
        // 49 CFR 565.15, table of letter values; without I, O and Q.
        let table = "A1 B2 C3 D4 E5 F6 G7 H8 J1 K2 L3 M4 N5 P7 R9 S2 T3 U4 V5 W6 X7 Y8 Z9";
        for entry in table.split(' ') {
            let (letter, worth) = entry.split_at(1);
            let vin = Vin::parse(&format!("{letter}{}", "1".repeat(16))).unwrap();
            // VIN-04: seventeen ones sum to 89; the first place weighs 8.
            assert_eq!(vin.weighted_sum(), 89 - 8 + 8 * worth.parse::<u32>().unwrap(), "{entry}");
        }
    }

    #[test]
    fn length_and_letters_are_told_apart() {
        assert_eq!(Vin::parse("1M8"), Err(VinError::Length(3)));
        assert_eq!(Vin::parse(""), Err(VinError::Length(0)));
        let oh = VinError::Character { character: 'O', place: 12 };
        assert_eq!(Vin::parse("1M8GDM9AXKPO42788"), Err(oh));
        assert!(serde_json::from_str::<Vin>(r#""1M8GDM9AXKPI42788""#).is_err());
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in ".{0,24}") {
            if let Ok(vin) = Vin::parse(&text) {
                prop_assert_eq!(Vin::parse(vin.as_str()), Ok(vin.clone()));
                vin.check();
            }
        }

        #[test]
        fn one_wrong_character_of_another_value_is_noticed(place in 0usize..17, new in 0usize..33) {
            let letters: Vec<char> = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ".chars().collect();
            let mut typed: Vec<char> = "1M8GDM9AXKP042788".chars().collect();
            let old = typed[place];
            typed[place] = letters[new];
            let vin = Vin::parse(&typed.iter().collect::<String>()).unwrap();
            let same = value(old) == value(letters[new]) && (place != CHECK_PLACE || old == letters[new]);
            prop_assert_eq!(vin.check() == CheckDigit::Right, same);
        }
    }
}
