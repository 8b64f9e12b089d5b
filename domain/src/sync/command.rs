//! What a phone can say, and whether it is taken.

/// A kind of command. Its word and its version stand in every command that a phone sends; a change of what the
/// arguments mean is a new version, and the old one stays understood while phones speak it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Command {
    /// Work on a step begins.
    StartStep,
    /// What one technician did on a step, with minutes, water and product; planned or not.
    RecordStep,
    /// A step is left out.
    SkipStep,
    /// A step that was done or left out is to be done again.
    ReopenStep,
    /// Other values hold in the place of a record.
    CorrectRecord,
    /// A record is taken back.
    VoidRecord,
    /// What was seen at the vehicle, with readings.
    Inspect,
    /// The crew is there; single fields.
    Arrive,
    /// What the customer was asked for beyond the booking, and the answer.
    AskExtraWork,
    /// What the customer agreed to in writing.
    Waive,
    /// A warning of the plan was read.
    Acknowledge,
    /// Words to a job, never changed.
    Comment,
    /// The one text of a job that is changed in place.
    EditNote,
    /// A photo; its bytes may come later.
    AttachPhoto,
    /// The work is done and signed off.
    Finish,
    /// The office is asked to change what only it may change.
    RequestChange,
}

/// Every command with its word and the versions that are understood.
pub const COMMANDS: [(Command, &str, &[i32]); 16] = [
    (Command::StartStep, "start_step", &[1]),
    (Command::RecordStep, "record_step", &[1]),
    (Command::SkipStep, "skip_step", &[1]),
    (Command::ReopenStep, "reopen_step", &[1]),
    (Command::CorrectRecord, "correct_record", &[1]),
    (Command::VoidRecord, "void_record", &[1]),
    (Command::Inspect, "inspect", &[1]),
    (Command::Arrive, "arrive", &[1]),
    (Command::AskExtraWork, "ask_extra_work", &[1]),
    (Command::Waive, "waive", &[1]),
    (Command::Acknowledge, "acknowledge", &[1]),
    (Command::Comment, "comment", &[1]),
    (Command::EditNote, "edit_note", &[1]),
    (Command::AttachPhoto, "attach_photo", &[1]),
    (Command::Finish, "finish", &[1]),
    (Command::RequestChange, "request_change", &[1]),
];

impl Command {
    /// The command with this word and version, if both are understood.
    pub fn understood(word: &str, version: i32) -> Option<Command> {
        let found =
            COMMANDS.iter().find(|(_, known, versions)| *known == word && versions.contains(&version));
        found.map(|(command, _, _)| *command)
    }

    pub fn word(self) -> &'static str {
        COMMANDS.iter().find(|(command, _, _)| *command == self).map_or("", |(_, word, _)| word)
    }

    /// True for what happened and cannot be wished away: who was once on the job may still tell it.
    pub fn is_fact(self) -> bool {
        !matches!(self, Command::EditNote | Command::Finish | Command::RequestChange | Command::ReopenStep)
    }
}

/// How the person who speaks stands to the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Assignment {
    /// Goes there, or may speak of every job.
    Now,
    /// Had the job on the phone once.
    Once,
    Never,
}

/// What becomes of a command before anything is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Admission {
    Accept,
    /// Accepted as far as it is the person's own work, and the office is shown that it came from somebody who no longer
    /// goes there.
    Flag,
    /// Kept for the office to decide.
    Park,
}

/// Whether a command about a job is taken: of a job that is gone or was never theirs it is parked.
pub fn admission(command: Command, job_exists: bool, assignment: Assignment) -> Admission {
    match (job_exists, assignment) {
        _ if command == Command::RequestChange => Admission::Park,
        (true, Assignment::Now) => Admission::Accept,
        (true, Assignment::Once) if command.is_fact() => Admission::Flag,
        _ => Admission::Park,
    }
}

#[cfg(test)]
mod tests {
    use super::{Admission, Assignment, COMMANDS, Command, admission};
    use std::collections::BTreeSet;

    #[test]
    fn every_command_has_its_own_word_and_a_version() {
        let words: BTreeSet<&str> = COMMANDS.iter().map(|(_, word, _)| *word).collect();
        assert_eq!(words.len(), COMMANDS.len());
        for (command, word, versions) in COMMANDS {
            assert_eq!((command.word(), Command::understood(word, versions[0])), (word, Some(command)));
            assert_eq!(Command::understood(word, 0), None);
        }
        assert_eq!(Command::understood("no_such_word", 1), None);
    }

    /// Only what somebody saw or did is taken from who no longer goes there, and nothing of a job that is gone.
    #[test]
    fn nothing_is_dropped_and_only_facts_come_from_former_crews() {
        for (command, _, _) in COMMANDS {
            for assignment in [Assignment::Now, Assignment::Once, Assignment::Never] {
                assert_eq!(admission(command, false, assignment), Admission::Park);
            }
            assert_eq!(admission(command, true, Assignment::Never), Admission::Park);
            let former = admission(command, true, Assignment::Once);
            assert_eq!(former == Admission::Flag, command.is_fact());
        }
        assert_eq!(admission(Command::RequestChange, true, Assignment::Now), Admission::Park);
        assert_eq!(admission(Command::Finish, true, Assignment::Now), Admission::Accept);
    }
}
