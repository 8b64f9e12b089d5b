//! SplitMix64 (Steele, Lea & Flood 2014, doi 10.1145/2660193.2660195): the same numbers for the same seed.
//! The searches take their chances from it, so that they stay functions of their arguments.

#[derive(Debug, Clone)]
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Random {
        Random(seed)
    }

    #[expect(
        clippy::should_implement_trait,
        reason = "numbers without an end, which no iterator need promise"
    )]
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below `bound`; 0 for a bound of 0.
    pub fn below(&mut self, bound: usize) -> usize {
        ((u128::from(self.next()) * bound as u128) >> 64) as usize
    }

    /// A number in 0 ≤ x < 1, of 53 random bits.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// True in `percent` of a hundred cases.
    pub fn chance(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }
}

#[cfg(test)]
mod tests {
    use super::Random;

    /// First outputs for seed 1234567, from the reference program in C (value from memory of its published test).
    #[test]
    fn matches_the_reference_generator() {
        let mut random = Random::new(1_234_567);
        assert_eq!(random.next(), 6_457_827_717_110_365_317);
        assert_eq!(random.next(), 3_203_168_211_198_807_973);
    }
}
