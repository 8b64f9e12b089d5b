//! Put into a copy of domain by `tests/guards`: every line marked `refused` must be refused, and no other.
#![allow(clippy::items_after_test_module, reason = "generated functions follow")]

pub fn clock() {
    let _ = std::time::SystemTime::now(); // refused
    let _ = std::time::Instant::now(); // refused
    let _ = chrono::Utc::now(); // refused
    let _ = chrono::Local::now(); // refused
}

pub fn environment() {
    let _ = std::env::var("HOME"); // refused
    let _ = std::env::var_os("HOME"); // refused
    let _ = std::env::args(); // refused
    let _ = std::fs::read_to_string("steps.csv"); // refused
    println!("said aloud"); // refused
}

pub fn order(found: &std::collections::HashSet<u8>) -> u64 {
    let mut sum = std::collections::HashMap::<u8, u8>::new().len() as u64; // refused
    for grade in found { // refused
        sum = sum * 5 + u64::from(*grade);
    }
    sum
}

pub fn panics(grade: Option<u8>, ratio: Result<u8, u8>) -> u8 {
    let grade = grade.unwrap(); // refused
    let ratio = ratio.expect("a ratio"); // refused
    if grade > 4 {
        panic!("grade {grade}"); // refused
    }
    if ratio == 0 {
        todo!() // refused
    }
    dbg!(ratio) // refused
}

pub fn first(name: &str) -> &str {
    &name[..1] // refused
}

#[allow(dead_code)] // refused
pub fn read(byte: *const u8) -> u8 {
    unsafe { byte.read() } // refused
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_test_may_unwrap() {
        assert_eq!("4".parse::<u8>().unwrap(), 4);
    }
}
