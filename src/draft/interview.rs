//! A new job by questions and answers, one thing at a time; what was understood is read back, and can
//! be put right until the end.

use super::groups;
use super::template::{BoardDraft, Draft, tester_uses};
use super::told::read_back;
use super::words::{CircuitWords, circuit_number};
use crate::grammar::number::in_digits;
use crate::installation::{
    Circuit, Earthing, GroupRcd, Instrument, InstrumentUse, JobKind, NotClear, Phases, Source, day,
    out_of_scope,
};

/// What is asked, in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ask {
    Site,
    Kind,
    Tester,
    Earthing,
    Phases,
    Sources,
    Bonds,
    Instrument,
    Indicator,
    Board,
    Circuits,
    Breaking,
    Over,
}

const ORDER: [Ask; 13] = [
    Ask::Site,
    Ask::Kind,
    Ask::Tester,
    Ask::Earthing,
    Ask::Phases,
    Ask::Sources,
    Ask::Bonds,
    Ask::Instrument,
    Ask::Indicator,
    Ask::Board,
    Ask::Circuits,
    Ask::Breaking,
    Ask::Over,
];

/// The rule of what can be said where the answer has to be typed.
const TYPED: &str = "interview.name";

/// Questions and what was answered so far.
#[derive(Debug, Clone)]
pub struct Interview {
    asked: usize,
    /// Questions whose answer is known from elsewhere.
    known: Vec<Ask>,
    draft: Draft,
    board: Option<String>,
    circuits: Vec<CircuitWords>,
    /// Those that are isolated one after another, while the rest of the board stays live.
    one_after_another: Vec<u16>,
    /// Residual current devices of several circuits.
    rcds: Vec<GroupRcd>,
}

impl Interview {
    /// Begins; what the draft knows already is not asked.
    pub fn new(draft: Draft) -> Self {
        let mut known = Vec::new();
        if draft.tester.is_some() {
            known.push(Ask::Tester);
        }
        if draft.instruments.iter().any(|one| !one.proves_dead_only()) {
            known.push(Ask::Instrument);
        }
        if draft.proves_dead() {
            known.push(Ask::Indicator);
        }
        Self {
            asked: 0,
            known,
            draft,
            board: None,
            circuits: Vec::new(),
            one_after_another: Vec::new(),
            rcds: Vec::new(),
        }
    }

    fn ask(&self) -> Ask {
        ORDER.get(self.asked).copied().unwrap_or(Ask::Over)
    }

    /// Whether everything was asked.
    pub fn is_over(&self) -> bool {
        self.ask() == Ask::Over
    }

    /// What is asked now.
    pub fn prompt(&self) -> &'static str {
        match self.ask() {
            Ask::Site => "What is the place called?",
            Ask::Kind => {
                "New work, an installation in use, minor works on one circuit, or live tests only? (new, periodic, minor works, or live retest)"
            }
            Ask::Tester => "Who tests?",
            Ask::Earthing => "How is it earthed? (TN-S, TN-C-S or TT)",
            Ask::Phases => "How many phases has the supply? (1 or 3)",
            Ask::Sources => {
                "What can feed it besides the mains? (as in solar, battery, generator, ups; or none)"
            }
            Ask::Bonds => "Which main protective bonds are there? (as in water, gas; or none)",
            Ask::Instrument => {
                "The installation tester's serial number and the last day of its calibration? (as in IT-2204, \
                 31 March 2027)"
            }
            Ask::Indicator => {
                "The voltage indicator's serial number? Dead is proved with it. (as in VI-0117)"
            }
            Ask::Board => "What is the board called?",
            Ask::Circuits => {
                "Circuits, one a line; then done. (as in 3, ring, B32 RCBO, 8 sockets, 2.5/1.5, 54 m)"
            }
            Ask::Breaking => {
                "The breaking capacity marked on the devices, where you did not give it? (as in 6 kA; or later)"
            }
            Ask::Over => "",
        }
    }

    /// The grammar rule by which an answer is heard.
    pub fn rule(&self) -> &'static str {
        match self.ask() {
            Ask::Kind => "interview.kind",
            Ask::Earthing => "interview.earthing",
            Ask::Phases => "interview.phases",
            Ask::Sources => "interview.sources",
            Ask::Bonds => "interview.bonds",
            Ask::Circuits => "interview.circuits",
            Ask::Breaking => "interview.breaking",
            Ask::Site | Ask::Tester | Ask::Instrument | Ask::Indicator | Ask::Board | Ask::Over => {
                TYPED
            }
        }
    }

    /// Whether what is asked now is a name or a number that only the keyboard can give.
    pub fn asks_to_type(&self) -> bool {
        self.rule() == TYPED
    }

    /// What may be said besides an answer.
    pub fn help(&self) -> &'static str {
        match self.ask() {
            Ask::Circuits => {
                "A circuit in one line, in any order: its number, what sort it is (ring, radial, lighting, \
                 cooker, motor, distribution), the device, the RCD, the points, sizes and length, and its \
                 name. \"change 3: 20 amp\" adds to circuit 3 or puts it right; \"remove 3\" takes it out; \
                 \"circuits 1, 3 and 4 one after another\" keeps the rest of the board live; \
                 \"rcd 30 mA, type A, over circuits 1 and 2\", or \"over every circuit\", is one of several; \
                 \"list\" shows all; \"back\" goes to the question before; \"done\" ends."
            }
            _ => {
                "Answer, or say \"later\" to have it marked in the file, or \"back\" for the question before."
            }
        }
    }

    /// Takes an answer; what comes of it is to be shown.
    ///
    /// # Errors
    /// When it is not understood: what to write. Nothing is changed then.
    pub fn answer(&mut self, line: &str) -> Result<String, NotClear> {
        let line = line.trim();
        match line.to_lowercase().as_str() {
            "" => return Ok(String::new()),
            "help" | "?" => return Ok(self.help().to_owned()),
            "back" => {
                self.go(-1);
                return Ok(String::new());
            }
            "later" | "none" if self.ask() == Ask::Breaking => {
                self.go(1);
                return Ok(
                    "Not given: the fault current is compared with nothing until it is.".to_owned(),
                );
            }
            "later" if self.ask() != Ask::Circuits => {
                self.go(1);
                return Ok("Marked in the file, to be filled in.".to_owned());
            }
            _ => {}
        }
        let told = match self.ask() {
            Ask::Site => {
                self.draft.site = Some(line.to_owned());
                with_scope(line)
            }
            Ask::Kind => {
                let kind: JobKind = line.parse()?;
                self.draft.kind = Some(kind);
                match kind {
                    JobKind::InitialVerification => "Initial verification: new work.",
                    JobKind::PeriodicInspection => "Periodic inspection: in use.",
                    JobKind::MinorWorks => "Minor works: one circuit.",
                    JobKind::LiveRetest => "Live re-test: nothing is isolated.",
                }
                .to_owned()
            }
            Ask::Tester => {
                self.draft.tester = Some(line.to_owned());
                line.to_owned()
            }
            Ask::Earthing => {
                // As letters are said.
                let letters = line.split_whitespace().collect::<Vec<_>>();
                let spelt = letters.iter().all(|letter| letter.chars().count() == 1);
                let line = if spelt {
                    letters.concat()
                } else {
                    line.to_owned()
                };
                let earthing: Earthing = line.parse()?;
                self.draft.earthing = Some(earthing);
                format!("{}.", earthing.name())
            }
            Ask::Phases => {
                let digits = in_digits(line);
                let number = match digits.to_lowercase().as_str() {
                    "single" | "single phase" | "1" | "1 phase" => Phases::Single,
                    "3" | "3 phase" | "3-phase" => Phases::Three,
                    _ => return Err(NotClear(format!("`{line}`: write 1 or 3"))),
                };
                self.draft.phases = Some(number);
                format!(
                    "{}-phase.",
                    if number == Phases::Single {
                        "Single"
                    } else {
                        "Three"
                    }
                )
            }
            Ask::Sources => {
                let none = [
                    "none",
                    "no",
                    "nothing",
                    "nothing else",
                    "mains",
                    "mains only",
                ];
                let pieces = line
                    .split([',', ';'])
                    .flat_map(|piece| piece.split(" and "));
                let mut others: Vec<Source> = Vec::new();
                for piece in pieces.map(|piece| piece.trim().trim_start_matches("a ")) {
                    if !none.contains(&piece.to_lowercase().as_str()) {
                        others.push(piece.parse()?);
                    }
                }
                let told = match others.as_slice() {
                    [] => "The mains alone.".to_owned(),
                    others => {
                        let names: Vec<&str> = others.iter().map(|source| source.shown()).collect();
                        format!("The mains, and {}.", names.join(", "))
                    }
                };
                let scope = others.iter().filter_map(|source| source.out_of_scope());
                let told = scope.fold(told, |told, why| format!("{told} Note: {why}."));
                self.draft.others = others;
                told
            }
            Ask::Bonds => {
                let none = matches!(
                    line.to_lowercase().as_str(),
                    "none" | "no" | "nothing" | "no bonds"
                );
                let bonds = line
                    .split([',', ';'])
                    .flat_map(|piece| piece.split(" and "));
                let bonds: Vec<String> = bonds
                    .map(|bond| bond.trim().to_lowercase())
                    .filter(|bond| !bond.is_empty() && !none)
                    .collect();
                let told = match bonds.as_slice() {
                    [] => "No main protective bonds.".to_owned(),
                    bonds => format!("Main bonds: {}.", bonds.join(", ")),
                };
                self.draft.bonds = Some(bonds);
                told
            }
            Ask::Instrument => self.instrument(line)?,
            Ask::Indicator => self.indicator(line),
            Ask::Board => {
                self.board = Some(line.to_owned());
                with_scope(line)
            }
            Ask::Circuits => return self.circuit_line(line),
            Ask::Breaking => self.breaking(line)?,
            Ask::Over => return Ok(String::new()),
        };
        self.go(1);
        Ok(told)
    }

    fn go(&mut self, by: isize) {
        loop {
            let Some(next) = self.asked.checked_add_signed(by) else {
                self.asked = 0;
                break;
            };
            self.asked = next.min(ORDER.len() - 1);
            let known = self.known.contains(&self.ask())
                || self.ask() == Ask::Breaking
                    && self.circuits.iter().all(CircuitWords::knows_breaking);
            if !known {
                break;
            }
        }
    }

    fn instrument(&mut self, line: &str) -> Result<String, NotClear> {
        let wrong = || {
            NotClear(format!(
                "`{line}`: write the serial number, a comma and the day, as in IT-2204, 31 March 2027"
            ))
        };
        let (serial, due) = line.rsplit_once(',').ok_or_else(wrong)?;
        let due = day(&in_digits(due)).ok_or_else(wrong)?;
        let serial = serial.trim();
        if serial.is_empty() {
            return Err(wrong());
        }
        let instruments = &mut self.draft.instruments;
        instruments.retain(Instrument::proves_dead_only);
        instruments.push(Instrument {
            calibration_due: Some(due),
            ..instrument("installation tester", serial, tester_uses())
        });
        Ok(format!(
            "Installation tester {serial}, calibration due {}; for continuity, insulation, loop and RCD.",
            due.strftime("%-d %B %Y")
        ))
    }

    fn indicator(&mut self, serial: &str) -> String {
        let instruments = &mut self.draft.instruments;
        instruments.retain(|one| !one.proves_dead_only());
        let uses = vec![InstrumentUse::VoltageIndication];
        instruments.insert(0, instrument("voltage indicator", serial, uses));
        format!("Voltage indicator {serial}.")
    }

    /// The breaking capacity of every device of which none was said.
    fn breaking(&mut self, line: &str) -> Result<String, NotClear> {
        let said = in_digits(line).to_lowercase();
        let said = ["kiloamps", "kiloamp", "ka"]
            .iter()
            .find_map(|unit| said.strip_suffix(unit))
            .unwrap_or(&said);
        let ka = said.trim().parse::<f64>().ok().filter(|ka| *ka > 0.0);
        let ka = ka.ok_or_else(|| NotClear(format!("`{line}`: write it in kA, as in 6 kA")))?;
        let without = self.circuits.iter_mut().filter(|c| !c.knows_breaking());
        let many = without.map(|circuit| circuit.breaking(ka)).count();
        Ok(format!(
            "{ka} kA, for the devices of {many} of the circuits."
        ))
    }

    fn circuit_line(&mut self, line: &str) -> Result<String, NotClear> {
        let small = line.to_lowercase();
        if matches!(
            small.as_str(),
            "done" | "end" | "that is all" | "that's all" | "finished"
        ) {
            self.go(1);
            return Ok(String::new());
        }
        if matches!(small.as_str(), "list" | "show") {
            let all = self.circuits()?;
            return Ok(match all.as_slice() {
                [] => "No circuit yet.".to_owned(),
                all => {
                    let rcds = self.rcds.iter().map(told_of);
                    let all = all.iter().map(read_back).chain(rcds);
                    all.collect::<Vec<_>>().join("\n")
                }
            });
        }
        for (word, changes) in [
            ("remove", false),
            ("delete", false),
            ("change", true),
            ("correct", true),
        ] {
            let Some(rest) = small
                .strip_prefix(word)
                .filter(|rest| rest.starts_with(' '))
            else {
                continue;
            };
            let from = line.len().saturating_sub(rest.len());
            let rest = line.get(from..).unwrap_or(rest);
            return if changes {
                self.change(rest)
            } else if let Some(number) = rest.trim().to_lowercase().strip_prefix("rcd") {
                self.remove_rcd(number)
            } else {
                self.remove(rest)
            };
        }
        // A number that was heard comes in figures, that one too.
        let in_turn = small.trim_end_matches('.').strip_suffix(" after another");
        let ones = ["one", "1"].iter();
        if let Some(named) =
            in_turn.and_then(|rest| ones.clone().find_map(|one| rest.strip_suffix(one)))
        {
            return self.in_turn(named);
        }
        let in_letters = small.replace("r c d", "rcd");
        if let Some((rcd, over)) = in_letters.split_once(" over")
            && over.starts_with([' ', ','])
            && rcd.split([' ', ',']).any(|word| word == "rcd")
        {
            return self.over_several(rcd, over.trim_end_matches('.'));
        }
        let mut words = CircuitWords::default();
        // What is out of scope is told so before anything else that may be wrong with it.
        let scope = |why: NotClear| out_of_scope(line).map_or(why, |why| NotClear(why.to_owned()));
        words.take(line).map_err(scope)?;
        let number = words.number.unwrap_or_else(|| self.next_number());
        let circuit = words.circuit(number).map_err(scope)?;
        words.number = Some(number);
        let told = self.told(&circuit, &words);
        let before = self
            .circuits
            .iter_mut()
            .find(|known| known.number == Some(number));
        Ok(match before {
            Some(before) => {
                *before = words;
                format!("{told} It takes the place of what circuit {number} was before.")
            }
            None => {
                self.circuits.push(words);
                told
            }
        })
    }

    /// "RCD thirty milliamps over circuits one and two", or "over every circuit".
    fn over_several(&mut self, rcd: &str, over: &str) -> Result<String, NotClear> {
        let free = (1..).find(|n| self.rcds.iter().all(|other| other.number != *n));
        let mut group = groups::said(&in_digits(rcd), free.unwrap_or(1))?;
        let all = ["every", "all"].iter();
        if !over
            .split([' ', ','])
            .any(|word| all.clone().any(|every| *every == word))
        {
            group.circuits =
                self.named_circuits(over, "rcd 30 milliamps over circuits 1, 2 and 3")?;
        }
        let told = told_of(&group);
        let before = self
            .rcds
            .iter_mut()
            .find(|other| other.number == group.number);
        Ok(match before {
            Some(before) => {
                *before = group;
                format!("{told} It takes the place of what it was before.")
            }
            None => {
                self.rcds.push(group);
                told
            }
        })
    }

    fn remove_rcd(&mut self, number: &str) -> Result<String, NotClear> {
        let number = in_digits(number.trim());
        let known = |group: &GroupRcd| group.number.to_string() == number;
        if !self.rcds.iter().any(known) {
            return Err(NotClear(format!(
                "there is no RCD {number} of several circuits: say list to see what there is"
            )));
        }
        self.rcds.retain(|group| !known(group));
        Ok(format!("RCD {number} is taken out again."))
    }

    /// Circuits by their numbers, each of which must be there; at least one.
    fn named_circuits(&self, named: &str, example: &str) -> Result<Vec<u16>, NotClear> {
        let named = in_digits(&named.replace([',', ';', ':'], " , "));
        let unsaid = ["circuits", "circuit", "and", "isolated", "isolate", ","];
        let mut numbers: Vec<u16> = Vec::new();
        for word in named
            .split_whitespace()
            .filter(|word| !unsaid.contains(word))
        {
            let number = word.parse::<u16>().map_err(|_| {
                NotClear(format!(
                    "`{word}`: name the circuits by their numbers, as in {example}"
                ))
            })?;
            if self
                .circuits
                .iter()
                .all(|words| words.number != Some(number))
            {
                return Err(NotClear(format!(
                    "there is no circuit {number} yet: say the circuits first, then which of them"
                )));
            }
            if !numbers.contains(&number) {
                numbers.push(number);
            }
        }
        if numbers.is_empty() {
            return Err(NotClear(format!(
                "which circuits? Name them, as in {example}; there is no circuit named"
            )));
        }
        Ok(numbers)
    }

    /// "Circuits one, three and four isolated": each by its own device, the rest of the board live.
    fn in_turn(&mut self, named: &str) -> Result<String, NotClear> {
        let numbers = self.named_circuits(named, "circuits 1, 3 and 4 one after another")?;
        if self.draft.kind == Some(JobKind::LiveRetest) {
            return Err(NotClear(
                "at a live re-test nothing is isolated: say back, and periodic, for an installation in use"
                    .to_owned(),
            ));
        }
        let all: Vec<String> = numbers.iter().map(u16::to_string).collect();
        let told = match all.as_slice() {
            [only] => format!("Circuit {only} is isolated by its own device"),
            [first @ .., last] => format!(
                "Circuits {} and {last} are isolated one after another, each by its own device",
                first.join(", ")
            ),
            [] => String::new(),
        };
        self.one_after_another = numbers;
        Ok(format!("{told}; the rest of the board stays live."))
    }

    fn told(&self, circuit: &Circuit, words: &CircuitWords) -> String {
        let assumed = words.assumed().map(|why| format!(" ({why}.)"));
        let scope = circuit.out_of_scope().map(|why| format!(" Note: {why}."));
        format!(
            "{}{}{}",
            read_back(circuit),
            scope.unwrap_or_default(),
            assumed.unwrap_or_default()
        )
    }

    fn next_number(&self) -> u16 {
        let last = self.circuits.iter().filter_map(|words| words.number).max();
        last.unwrap_or(0).saturating_add(1)
    }

    /// Which circuit is meant, and the rest of the line.
    fn which<'l>(&self, text: &'l str) -> Result<(usize, &'l str), NotClear> {
        let (first, rest) = text.split_once([':', ',']).unwrap_or((text, ""));
        let named = in_digits(first.trim());
        let number = circuit_number(&named)?.ok_or_else(|| {
            NotClear(format!(
                "`{}` names no circuit: say its number, as in remove 3",
                first.trim()
            ))
        })?;
        let at = self
            .circuits
            .iter()
            .position(|words| words.number == Some(number));
        let at = at.ok_or_else(|| {
            NotClear(format!(
                "there is no circuit {number} yet: say list to see them all"
            ))
        })?;
        Ok((at, rest))
    }

    fn change(&mut self, text: &str) -> Result<String, NotClear> {
        let (at, rest) = self.which(text)?;
        let Some(words) = self.circuits.get(at) else {
            return Ok(String::new());
        };
        if rest.trim().is_empty() {
            return Err(NotClear(
                "say what is right too, as in change 3: 20 amp, 6 sockets".to_owned(),
            ));
        }
        let mut words = words.clone();
        // Not a number of another circuit.
        let number = words.number;
        words.take(&format!("circuit {},{rest}", number.unwrap_or(1)))?;
        let told = self.told(&words.circuit(number.unwrap_or(1))?, &words);
        if let Some(before) = self.circuits.get_mut(at) {
            *before = words;
        }
        Ok(told)
    }

    fn remove(&mut self, text: &str) -> Result<String, NotClear> {
        let (at, _) = self.which(text)?;
        let number = self.circuits.remove(at).number.unwrap_or_default();
        self.one_after_another.retain(|other| *other != number);
        // Over none that is left is not over every one.
        self.rcds.retain_mut(|group| {
            let of_all = group.circuits.is_empty();
            group.circuits.retain(|other| *other != number);
            of_all || !group.circuits.is_empty()
        });
        Ok(format!("Circuit {number} is taken out again."))
    }

    fn circuits(&self) -> Result<Vec<Circuit>, NotClear> {
        let mut all: Vec<Circuit> = (1..)
            .zip(&self.circuits)
            .map(|(number, words)| words.circuit(number))
            .collect::<Result<_, _>>()?;
        all.sort_by_key(|circuit| circuit.number);
        Ok(all)
    }

    /// What is known now.
    ///
    /// # Errors
    /// Never in practice: each circuit was whole when it was taken.
    pub fn draft(&self) -> Result<Draft, NotClear> {
        let board = BoardDraft {
            number: 1,
            name: self.board.clone(),
            fed_from: None,
            one_after_another: self.one_after_another.clone(),
            rcds: self.rcds.clone(),
            circuits: self.circuits()?,
            ..BoardDraft::default()
        };
        Ok(Draft {
            boards: vec![board],
            ..self.draft.clone()
        })
    }
}

/// "RCD 1: 30 mA, over circuits 1, 2."
fn told_of(group: &GroupRcd) -> String {
    format!("{}, over {}.", group.written(), group.over())
}

/// A name as it was answered, with what of it is out of scope.
fn with_scope(name: &str) -> String {
    match out_of_scope(name) {
        Some(why) => format!("{name}. Note: {why}."),
        None => name.to_owned(),
    }
}

/// An instrument of which nothing else is known.
fn instrument(name: &str, serial: &str, used_for: Vec<InstrumentUse>) -> Instrument {
    Instrument {
        name: name.to_owned(),
        serial: serial.to_owned(),
        calibration_due: None,
        used_for,
        insulation_range_megohms: None,
        loop_reference_ohms: None,
        rcd_reference_ms: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::installation::Job;

    const ANSWERS: [&str; 10] = [
        "Kingfisher Rowing Club",
        "new",
        "A. Learner",
        "tncs",
        "one",
        "solar and a battery",
        "water and gas",
        "IT-2204, 31 March 2027",
        "VI-0117",
        "workshop board",
    ];

    fn at_the_circuits() -> Interview {
        let mut interview = Interview::new(Draft::default());
        for answer in ANSWERS {
            interview.answer(answer).unwrap();
        }
        interview
    }

    #[test]
    fn a_whole_job_is_answered_and_passes_the_check() {
        let mut interview = at_the_circuits();
        let told = interview
            .answer("circuit three, ring, thirty-two amp B, RCBO, eight sockets")
            .unwrap();
        assert!(
            told.starts_with("Circuit 3, sockets; ring; BS EN 61009 B 32 A; RCD 30 mA"),
            "{told}"
        );
        assert!(told.contains("30 mA was not said"), "{told}");
        interview.answer("lights, B6, 6 lights").unwrap();
        interview.answer("done").unwrap();
        assert!(interview.prompt().contains("breaking capacity"));
        assert!(interview.answer("many").is_err());
        assert_eq!(
            interview.answer("six kA").unwrap(),
            "6 kA, for the devices of 2 of the circuits."
        );
        assert!(interview.is_over());
        let draft = interview.draft().unwrap();
        assert_eq!(draft.to_fill_in(), 0);
        let job = Job::parse(&draft.text(), "job.toml").unwrap();
        let numbers: Vec<_> = job.boards[0].circuits.iter().map(|c| c.number).collect();
        assert_eq!(numbers, [3, 4]);
        let indicator = &job.instruments[0];
        assert_eq!(indicator.serial, "VI-0117");
        assert_eq!(indicator.used_for, [InstrumentUse::VoltageIndication]);
        let breaking = job.boards[0].circuits.iter();
        let breaking = breaking.map(|c| c.device.as_ref().unwrap().breaking_ka);
        assert!(breaking.into_iter().all(|ka| ka == Some(6.0)));
        assert_eq!(job.supply.bonds, ["water", "gas"]);
        let sources = [Source::Mains, Source::Solar, Source::Battery];
        assert_eq!(job.supply.sources, sources);
    }

    #[test]
    fn what_is_listened_for_at_a_question_answers_it() {
        let grammar = crate::grammar::Grammar::built_in().unwrap();
        let lexicon = crate::grammar::Lexicon::built_in().unwrap();
        let mut rng = fastrand::Rng::with_seed(3);
        let mut interview = Interview::new(Draft::default());
        let mut asked = 0;
        for typed in ANSWERS.into_iter().chain(["3, ring, B32 RCBO", "done"]) {
            let rule = interview.rule();
            for word in &grammar.graph(rule).unwrap().words {
                assert!(lexicon.knows(word), "{rule}: {word}");
            }
            for _ in 0..200 {
                let (words, said) = grammar.random_sentence(rule, &mut || rng.f64()).unwrap();
                let crate::grammar::Intent::Pieces(pieces) = said else {
                    panic!("{rule}: {words}");
                };
                let line = pieces.join(", ");
                let answered = interview.clone().answer(&line);
                // A circuit may be said with something missing; its words are known all the same.
                let why = answered.err().map(|why| why.to_string());
                // Whoever says one thing twice, or what nobody makes, is told so.
                let missing = [
                    "missing",
                    "there is no circuit",
                    "without the sizes",
                    "which is it?",
                    "larger than the line",
                    "out of scope",
                ];
                let is_missing = |why: &String| missing.iter().any(|part| why.contains(part));
                assert!(why.iter().all(is_missing), "{rule}: {line}: {why:?}");
                asked += 1;
            }
            interview.answer(typed).unwrap();
        }
        assert_eq!(interview.rule(), "interview.breaking");
        assert_eq!(asked, 2400);
    }

    #[test]
    fn what_was_taken_can_be_put_right_and_taken_out() {
        let mut interview = at_the_circuits();
        interview.answer("3, radial, B16, 4 sockets").unwrap();
        let told = interview
            .answer("change 3: 20 amp, rcbo 30, 6 sockets")
            .unwrap();
        assert_eq!(
            told,
            "Circuit 3, sockets; radial; BS EN 61009 B 20 A; RCD 30 mA; 6 sockets."
        );
        let told = interview.answer("3, ring, B32 RCBO 30 mA").unwrap();
        assert!(told.contains("takes the place"), "{told}");
        assert_eq!(
            interview.answer("remove circuit three").unwrap(),
            "Circuit 3 is taken out again."
        );
        assert!(
            interview
                .answer("remove 3")
                .unwrap_err()
                .to_string()
                .contains("no circuit 3")
        );
        assert!(interview.answer("change 3").is_err());
        assert_eq!(interview.answer("list").unwrap(), "No circuit yet.");
    }

    #[test]
    fn an_answer_that_is_not_understood_is_asked_again_and_back_goes_back() {
        let mut interview = Interview::new(Draft::default());
        interview.answer("the boathouse").unwrap();
        let asked = interview.prompt();
        assert!(interview.answer("sometimes").is_err());
        assert_eq!(interview.prompt(), asked);
        interview.answer("periodic").unwrap();
        interview.answer("back").unwrap();
        assert_eq!(interview.prompt(), asked);
        interview.answer("later").unwrap();
        assert_ne!(interview.prompt(), asked);
    }

    #[test]
    fn what_the_configuration_knows_is_not_asked() {
        let mut interview = Interview::new(Draft {
            tester: Some("A. Learner".to_owned()),
            ..Draft::default()
        });
        interview.answer("the boathouse").unwrap();
        interview.answer("new").unwrap();
        assert!(
            interview.prompt().contains("earthed"),
            "{}",
            interview.prompt()
        );
        interview.answer("back").unwrap();
        assert!(
            interview.prompt().contains("New work"),
            "{}",
            interview.prompt()
        );
    }

    #[test]
    fn an_indicator_that_the_configuration_has_is_taken_and_else_asked_for_or_marked() {
        let before_the_board = |used_for: Vec<InstrumentUse>| {
            let mut interview = Interview::new(Draft {
                instruments: vec![instrument("tester", "IT-9", used_for)],
                ..Draft::default()
            });
            for answer in &ANSWERS[..7] {
                interview.answer(answer).unwrap();
            }
            interview
        };
        let both = [tester_uses(), vec![InstrumentUse::VoltageIndication]].concat();
        let interview = before_the_board(both);
        assert!(
            interview.prompt().contains("board"),
            "{}",
            interview.prompt()
        );
        let mut interview = before_the_board(tester_uses());
        assert!(
            interview.prompt().contains("voltage indicator"),
            "{}",
            interview.prompt()
        );
        let text = interview.draft().unwrap().text();
        assert!(
            text.contains("name = \"voltage indicator\"\nserial = \"FILL IN"),
            "{text}"
        );
        interview.answer("VI-0117").unwrap();
        let text = interview.draft().unwrap().text();
        assert!(text.contains("serial = \"VI-0117\""), "{text}");
        assert!(text.contains("serial = \"IT-9\""), "{text}");
    }

    #[test]
    fn an_rcd_of_several_circuits_is_said_after_them() {
        let mut interview = Interview::new(Draft::default());
        while interview.ask() != Ask::Circuits {
            interview.go(1);
        }
        for line in [
            "ring, B32, 8 sockets",
            "lighting, B6, 6 lights",
            "radial, B16",
        ] {
            interview.answer(line).unwrap();
        }
        let told = interview.answer("RCD thirty milliamps, type A, over circuits one and two");
        assert_eq!(told.unwrap(), "RCD 1: 30 mA, type A, over circuits 1, 2.");
        let told = interview.answer("main rcd 100 mA type S 80 amps over every circuit");
        assert_eq!(
            told.unwrap(),
            "RCD 2: 100 mA, type S, 80 A, over every circuit."
        );
        for (line, why) in [
            ("rcd 30 mA over circuit 9", "there is no circuit 9 yet"),
            ("rcd over circuits 1 and 2", "say its residual current"),
            ("rcd 2 over circuits 1 and 2", "say its residual current"),
            ("rcd 7 mA over every circuit", "RCD 3: "),
            ("remove rcd 5", "there is no RCD 5"),
        ] {
            let told = interview.answer(line).unwrap_err().to_string();
            assert!(told.contains(why), "{line}: {told}");
        }
        let text = interview.draft().unwrap().text();
        assert!(text.contains("circuits = [1, 2]"), "{text}");
        interview.answer("remove 1").unwrap();
        interview.answer("remove 2").unwrap();
        let rcds = interview.draft().unwrap().boards[0].rcds.clone();
        let left: Vec<u16> = rcds.iter().map(|group| group.number).collect();
        assert_eq!(left, [2]);
        let told = interview.answer("remove rcd two").unwrap();
        assert_eq!(told, "RCD 2 is taken out again.");
    }

    #[test]
    fn a_number_alone_never_takes_the_place_of_what_was_said() {
        for (line, told) in [
            ("3, ring, B32 RCBO, 8 sockets, 2.5/1.5, 54", "`54` alone"),
            ("15, outside lights, B6 RCBO, lighting, 30", "`30` alone"),
            ("3, ring, B32, 8", "`8` alone"),
            ("3, ring, B32, 8 sockets, 2.5", "`2.5` alone"),
            ("3, ring, B32 54, 8 sockets", "`54` alone"),
            ("3, ring, B32, B20", "32 A and 20 A: which is it?"),
            ("3, ring, B32, C32", "type B and type C: which is it?"),
            ("3, ring, B32 RCBO 30 mA, 100 mA", "30 mA and 100 mA: which"),
            ("3, ring, radial, B32", "ring and radial: which is it?"),
            (
                "3, ring, B32, 2.5/1.5, 4/1.5",
                "2.5/1.5 mm² and 4/1.5 mm²: which",
            ),
            (
                "3, ring, B32, 18 m, 2.5/1.5, 54 m",
                "18 m and 54 m: which is it?",
            ),
            (
                "3, ring, 8 sockets, 6 sockets",
                "8 sockets and 6 sockets: which",
            ),
            (
                "3, ring, B32, circuit 4, radial, B16",
                "a second circuit in one line",
            ),
            (
                "3, ring, B32 rcbo, circuit four",
                "a second circuit in one line",
            ),
        ] {
            let mut interview = at_the_circuits();
            let why = interview.answer(line).unwrap_err().to_string();
            assert!(why.contains(told), "{line}: {why}");
            assert_eq!(interview.answer("list").unwrap(), "No circuit yet.");
        }
        // What puts right is a line of its own.
        let mut interview = at_the_circuits();
        interview.answer("3, ring, B32, 8 sockets").unwrap();
        assert!(interview.answer("change 3: 54").is_err());
        let told = interview.answer("change 3: B20, 6 sockets").unwrap();
        assert_eq!(
            told,
            "Circuit 3, sockets; ring; BS EN 60898 B 20 A; 6 sockets."
        );
    }

    #[test]
    fn circuits_of_one_board_are_named_once_to_be_isolated_one_after_another() {
        let mut interview = at_the_circuits();
        for line in [
            "1, ring, B32 RCBO",
            "3, lighting, B6",
            "4, shower, B40",
            "12, radial, B16",
        ] {
            interview.answer(line).unwrap();
        }
        // As it is typed, and as it is heard: a piece each.
        for said in [
            "circuits one, three and four isolated one after another",
            "1, 3 and 4 one after another",
            "1, 3, 4, isolated 1 after another",
        ] {
            let told = interview.clone().answer(said).unwrap();
            assert_eq!(
                told,
                "Circuits 1, 3 and 4 are isolated one after another, each by its own device; the rest of the board stays live."
            );
        }
        interview
            .answer("circuits one, three and four isolated one after another")
            .unwrap();
        for (said, why) in [
            (
                "circuits 1 and 5 one after another",
                "there is no circuit 5 yet",
            ),
            ("circuits one after another", "there is no circuit named"),
            ("the sockets one after another", "by their numbers"),
        ] {
            let told = interview.answer(said).unwrap_err().to_string();
            assert!(told.contains(why), "{told}");
        }
        interview.answer("remove 4").unwrap();
        let draft = interview.draft().unwrap();
        assert_eq!(draft.boards[0].one_after_another, [1, 3]);
        assert!(
            draft.text().contains("one_after_another = [1, 3]"),
            "{}",
            draft.text()
        );
    }

    #[test]
    fn what_is_out_of_scope_is_told_so_at_once() {
        let mut interview = Interview::new(Draft::default());
        let told = |interview: &mut Interview, line: &str| match interview.answer(line) {
            Ok(told) => told,
            Err(why) => why.to_string(),
        };
        assert!(told(&mut interview, "Boathouse medical centre").contains("710"));
        told(&mut interview, "new");
        told(&mut interview, "A. Learner");
        // As it is heard, too.
        for it in ["IT", "i t"] {
            let told = told(&mut interview, it);
            assert!(told.contains("IT systems are out of scope"), "{told}");
        }
        told(&mut interview, "T T");
        told(&mut interview, "1");
        let sources = told(&mut interview, "solar and battery");
        assert!(
            sources.contains("62446-1") && sources.contains("no main switch makes them dead"),
            "{sources}"
        );
        let mut interview = at_the_circuits();
        for (line, why) in [
            ("5, battery, C32", "no main switch makes them dead"),
            ("battery", "no main switch makes them dead"),
            ("circuit five, p v array", "62446-1"),
            ("5, pv string, 16 A gPV fuse", "62446-1"),
            ("circuit five, medical location", "710"),
            (
                "5, EV charge point, B40 RCBO",
                "functional tests of its own",
            ),
            (
                "5, charging point, 32 amp b, rcbo",
                "functional tests of its own",
            ),
            (
                "5, radial, B16, called battery inverter",
                "no main switch makes them dead",
            ),
        ] {
            let told = told(&mut interview, line);
            assert!(told.contains(why), "{line}: {told}");
        }
    }
}
