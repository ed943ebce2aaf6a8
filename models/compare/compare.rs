//! What `run.sh` needs of the program itself: its grammar for another decoder, the sentence of the
//! grammar nearest to a transcript, and whether that means what was said.
//!
//! ```sh
//! compare fsg RULE                               # the grammar as a finite state grammar
//! compare dictionary RULE                        # how its words are said
//! compare snap RULE CMUDICT < transcripts.tsv    # path, log-probability, text -> path, cost, words
//! compare judge RULE MANIFEST.tsv < heard.tsv    # path, ... , words -> the same, expected, right
//! ```

use anyhow::{Context, bail};
use bothhands::eval::read_manifest;
use bothhands::grammar::{Grammar, Lexicon, WordGraph, typed};
use bothhands::speech::ear::same_meaning;
use std::collections::HashMap;
use std::io::{BufRead, Write};
use std::path::Path;

fn main() -> anyhow::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let grammar = Grammar::built_in()?;
    let mut out = std::io::stdout().lock();
    match args[..] {
        ["fsg", rule] => write!(out, "{}", fsg(rule, &*grammar.graph(rule)?))?,
        ["dictionary", rule] => write!(out, "{}", dictionary(&*grammar.graph(rule)?)?)?,
        ["snap", rule, words] => snap(&grammar, rule, Path::new(words), &mut out)?,
        ["judge", rule, manifest] => judge(&grammar, rule, Path::new(manifest), &mut out)?,
        _ => bail!(
            "give `fsg RULE`, `dictionary RULE`, `snap RULE CMUDICT` or `judge RULE MANIFEST`"
        ),
    }
    Ok(())
}

/// The word graph as pocketsphinx reads it: one end, probabilities, and loops for silence are its
/// own business.
fn fsg(rule: &str, graph: &WordGraph) -> String {
    let end = graph.states;
    let mut text = format!("FSG_BEGIN {rule}\nNUM_STATES {}\n", end + 1);
    text += &format!("START_STATE 0\nFINAL_STATE {end}\n");
    for arc in &graph.arcs {
        let word = &graph.words[arc.word as usize];
        text += &format!(
            "TRANSITION {} {} {:e} {word}\n",
            arc.from,
            arc.to,
            arc.weight.exp()
        );
    }
    for (state, weight) in &graph.finals {
        text += &format!("TRANSITION {state} {end} {:e}\n", weight.exp());
    }
    text + "FSG_END\n"
}

/// The program's pronunciations of the graph's words, as pocketsphinx reads them.
fn dictionary(graph: &WordGraph) -> anyhow::Result<String> {
    let lexicon = Lexicon::built_in()?;
    let mut text = String::new();
    for word in &graph.words {
        for (n, phones) in lexicon.pronunciations(word).iter().enumerate() {
            let variant = if n == 0 {
                String::new()
            } else {
                format!("({})", n + 1)
            };
            text += &format!("{word}{variant} {}\n", phones.join(" "));
        }
    }
    Ok(text)
}

/// Adds to each line of what was heard the words that were said and whether both mean the same.
fn judge(
    grammar: &Grammar,
    rule: &str,
    manifest: &Path,
    out: &mut impl Write,
) -> anyhow::Result<()> {
    let clips: HashMap<_, _> = read_manifest(manifest, grammar, rule)?
        .into_iter()
        .map(|clip| (clip.path.clone(), clip))
        .collect();
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let path = Path::new(line.split('\t').next().unwrap_or_default());
        let words = line.rsplit('\t').next().unwrap_or_default();
        let clip = clips
            .get(path)
            .with_context(|| format!("{}: not in {}", path.display(), manifest.display()))?;
        let said = grammar.understand(rule, words);
        let right = match (&clip.said, &said) {
            (Some(expected), Some(said)) => same_meaning(expected, said),
            _ => false,
        };
        writeln!(out, "{line}\t{}\t{right}\t{}", clip.words, said.is_some())?;
    }
    Ok(())
}

/// For each transcript the nearest sentence of the grammar.
fn snap(grammar: &Grammar, rule: &str, cmudict: &Path, out: &mut impl Write) -> anyhow::Result<()> {
    let sounds = Sounds::new(cmudict)?;
    let trellis = Trellis::new(&*grammar.graph(rule)?, &sounds)?;
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let mut fields = line.splitn(3, '\t');
        let (path, log, text) = (fields.next(), fields.next(), fields.next());
        let (path, log, text) = (
            path.unwrap_or_default(),
            log.unwrap_or_default(),
            text.unwrap_or_default(),
        );
        let best = readings(text)
            .iter()
            .map(|words| {
                let phones: Vec<u8> = words
                    .split_whitespace()
                    .flat_map(|w| sounds.of(w))
                    .collect();
                (trellis.nearest(&sounds, &phones), phones.len())
            })
            .min_by(|a, b| a.0.cost.total_cmp(&b.0.cost));
        let Some((nearest, phones)) = best else {
            continue;
        };
        writeln!(
            out,
            "{path}\t{log}\t{text}\t{:.3}\t{phones}\t{}",
            nearest.cost, nearest.words
        )?;
    }
    Ok(())
}

/// The transcript in words: figures digit by digit, and once more as people say whole numbers.
fn readings(text: &str) -> Vec<String> {
    // "1,000" and "2-3-4" are figures too.
    let text = text
        .replace(',', "")
        .replace(['-', '–'], " ")
        .replace('%', " ");
    let digits = typed::normalise(&text);
    let whole: Vec<String> = text
        .split_whitespace()
        .map(|word| {
            let bare = word.trim_end_matches(['.', '!', '?', ';', ':']);
            match bare.parse::<u32>() {
                Ok(number) if number < 10_000 && !bare.starts_with('0') => cardinal(number),
                _ => word.to_owned(),
            }
        })
        .collect();
    let whole = typed::normalise(&whole.join(" "));
    if whole == digits {
        vec![digits]
    } else {
        vec![digits, whole]
    }
}

fn cardinal(number: u32) -> String {
    const ONES: [&str; 20] = [
        "",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ];
    const TENS: [&str; 10] = [
        "", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
    ];
    let small = |n: u32| match n {
        0..20 => ONES[n as usize].to_owned(),
        _ => format!("{} {}", TENS[(n / 10) as usize], ONES[(n % 10) as usize]),
    };
    let mut words = Vec::new();
    if number >= 1000 {
        words.push(format!("{} thousand", small(number / 1000)));
    }
    if number % 1000 >= 100 {
        words.push(format!("{} hundred", small(number % 1000 / 100)));
    }
    if !words.is_empty() && !number.is_multiple_of(100) {
        words.push("and".to_owned());
    }
    words.push(small(number % 100));
    words.join(" ").trim().to_owned()
}

/// The 39 phones with what each costs to be heard for another.
struct Sounds {
    /// Our own words first, then the CMU dictionary's.
    words: HashMap<String, Vec<Vec<u8>>>,
    swap: Vec<Vec<f32>>,
    drop: Vec<f32>,
}

/// Phone, vowel or consonant, and where it is: height and backness in tenths, or place from the lips
/// back, manner, voice. Diphthongs stand where they begin, and end elsewhere.
const PHONES: [(&str, Sound); 39] = [
    ("AA", Sound::Vowel(9, 8, 0)),
    ("AE", Sound::Vowel(8, 1, 0)),
    ("AH", Sound::Vowel(6, 5, 0)),
    ("AO", Sound::Vowel(7, 9, 0)),
    ("AW", Sound::Vowel(9, 5, 2)),
    ("AY", Sound::Vowel(9, 5, 1)),
    ("B", Sound::Consonant(0, 0, true)),
    ("CH", Sound::Consonant(4, 1, false)),
    ("D", Sound::Consonant(3, 0, true)),
    ("DH", Sound::Consonant(2, 2, true)),
    ("EH", Sound::Vowel(6, 2, 0)),
    ("ER", Sound::Vowel(5, 5, 0)),
    ("EY", Sound::Vowel(5, 1, 1)),
    ("F", Sound::Consonant(1, 2, false)),
    ("G", Sound::Consonant(6, 0, true)),
    ("HH", Sound::Consonant(7, 2, false)),
    ("IH", Sound::Vowel(2, 2, 0)),
    ("IY", Sound::Vowel(0, 0, 0)),
    ("JH", Sound::Consonant(4, 1, true)),
    ("K", Sound::Consonant(6, 0, false)),
    ("L", Sound::Consonant(3, 4, true)),
    ("M", Sound::Consonant(0, 3, true)),
    ("N", Sound::Consonant(3, 3, true)),
    ("NG", Sound::Consonant(6, 3, true)),
    ("OW", Sound::Vowel(5, 8, 2)),
    ("OY", Sound::Vowel(6, 9, 1)),
    ("P", Sound::Consonant(0, 0, false)),
    ("R", Sound::Consonant(4, 4, true)),
    ("S", Sound::Consonant(3, 2, false)),
    ("SH", Sound::Consonant(4, 2, false)),
    ("T", Sound::Consonant(3, 0, false)),
    ("TH", Sound::Consonant(2, 2, false)),
    ("UH", Sound::Vowel(2, 8, 0)),
    ("UW", Sound::Vowel(0, 9, 0)),
    ("V", Sound::Consonant(1, 2, true)),
    ("W", Sound::Consonant(0, 4, true)),
    ("Y", Sound::Consonant(5, 4, true)),
    ("Z", Sound::Consonant(3, 2, true)),
    ("ZH", Sound::Consonant(4, 2, true)),
];

#[derive(Clone, Copy)]
enum Sound {
    Vowel(i8, i8, u8),
    Consonant(i8, u8, bool),
}

impl Sound {
    /// From 0 to 1 within a kind; a vowel for a consonant costs more than leaving out both would
    /// save.
    fn apart(self, other: Self) -> f32 {
        match (self, other) {
            (Self::Vowel(h, b, d), Self::Vowel(i, c, e)) => {
                let glide = if d == e { 0.0 } else { 0.2 };
                (f32::from((h - i).abs()) * 0.05 + f32::from((b - c).abs()) * 0.05 + glide).min(0.9)
            }
            (Self::Consonant(p, m, v), Self::Consonant(q, n, w)) => {
                let place = f32::from((p - q).abs()) * 0.1;
                let manner = if m == n { 0.0 } else { 0.4 };
                let voice = if v == w { 0.0 } else { 0.2 };
                (place + manner + voice).min(1.0)
            }
            _ => 1.3,
        }
    }

    /// What it costs to be missing or too much.
    fn missing(self) -> f32 {
        match self {
            Self::Vowel(..) => 0.8,
            // h and the glides are hardly there.
            Self::Consonant(7, ..) | Self::Consonant(_, 4, _) => 0.5,
            Self::Consonant(..) => 0.7,
        }
    }
}

impl Sounds {
    fn new(cmudict: &Path) -> anyhow::Result<Self> {
        let text = std::fs::read_to_string(cmudict)
            .with_context(|| format!("{}: cannot be read", cmudict.display()))?;
        let ours = include_str!("../lexicon.txt");
        let mut words: HashMap<String, Vec<Vec<u8>>> = HashMap::new();
        let index = |phones: &str| -> Vec<u8> {
            phones
                .split_whitespace()
                .filter_map(|p| PHONES.iter().position(|(name, _)| *name == p))
                .filter_map(|i| u8::try_from(i).ok())
                .collect()
        };
        for line in ours.lines().filter(|l| !l.starts_with('#')) {
            if let Some((word, phones)) = line.split_once('\t') {
                words
                    .entry(word.to_owned())
                    .or_default()
                    .push(index(phones));
            }
        }
        for line in text.lines() {
            if let Some((word, phones)) = line.split_once(' ')
                && !word.contains('(')
            {
                words
                    .entry(word.to_lowercase())
                    .or_insert_with(|| vec![index(phones)]);
            }
        }
        let all = PHONES.map(|(_, sound)| sound);
        Ok(Self {
            words,
            swap: all
                .iter()
                .map(|a| all.iter().map(|b| a.apart(*b)).collect())
                .collect(),
            drop: all.iter().map(|a| a.missing()).collect(),
        })
    }

    /// The phones of any word: from the dictionaries, from two words of them joined, or by letters.
    fn of(&self, word: &str) -> Vec<u8> {
        let known = |word: &str| self.words.get(word).and_then(|v| v.first()).cloned();
        if let Some(phones) = known(word).or_else(|| known(word.trim_end_matches("'s"))) {
            return phones;
        }
        let halves = word.char_indices().map(|(at, _)| at).filter(|at| *at >= 3);
        for at in halves {
            let (a, b) = word.split_at(at);
            if let (Some(a), Some(b), true) = (known(a), known(b), b.len() >= 2) {
                return [a, b].concat();
            }
        }
        word.chars().flat_map(letter).copied().collect()
    }
}

/// A letter's usual phone, by its index in [`PHONES`].
fn letter(c: char) -> &'static [u8] {
    match c {
        'a' => &[1],
        'b' => &[6],
        'c' | 'k' | 'q' => &[19],
        'd' => &[8],
        'e' => &[10],
        'f' => &[13],
        'g' => &[14],
        'h' => &[15],
        'i' | 'y' => &[16],
        'j' => &[18],
        'l' => &[20],
        'm' => &[21],
        'n' => &[22],
        'o' => &[24],
        'p' => &[26],
        'r' => &[27],
        's' => &[28],
        't' => &[30],
        'u' => &[2],
        'v' => &[34],
        'w' => &[35],
        'x' => &[19, 28],
        'z' => &[37],
        _ => &[],
    }
}

/// The grammar's sentences spelt in phones, to walk along beside a transcript. Nodes are in such an
/// order that every step goes forward.
struct Trellis {
    /// Steps that lead to each node: from which, by which phone, at which extra cost, and the word
    /// that ends with it.
    into: Vec<Vec<Step>>,
    ends: Vec<(u32, f32)>,
    words: Vec<String>,
}

#[derive(Clone, Copy)]
struct Step {
    from: u32,
    phone: u8,
    extra: f32,
    word: Option<u32>,
}

struct Nearest {
    cost: f32,
    words: String,
}

/// How much a rare sentence of the grammar costs: enough to choose between equals.
const RARE: f32 = 0.02;

/// What each word of the grammar costs: of two sentences that are equally near, the shorter.
const WORD: f32 = 0.01;

impl Trellis {
    fn new(graph: &WordGraph, sounds: &Sounds) -> anyhow::Result<Self> {
        let order = forward(graph)?;
        let mut leaving: Vec<Vec<_>> = vec![Vec::new(); graph.states as usize];
        for arc in &graph.arcs {
            leaving[arc.from as usize].push(arc);
        }
        // Inner nodes of a word's arc come between its ends, so nodes are numbered while walking
        // the states in order; a state gets its number when its turn comes.
        let mut into: Vec<Vec<Step>> = Vec::new();
        let mut pending: Vec<Vec<Step>> = vec![Vec::new(); graph.states as usize];
        let mut number = vec![0u32; graph.states as usize];
        for state in order {
            number[state as usize] = u32::try_from(into.len())?;
            into.push(std::mem::take(&mut pending[state as usize]));
            for arc in &leaving[state as usize] {
                let word = &graph.words[arc.word as usize];
                let all = sounds.words.get(word);
                for phones in all.with_context(|| format!("no phones for {word}"))? {
                    let mut from = number[state as usize];
                    for (n, phone) in phones.iter().enumerate() {
                        let last = n + 1 == phones.len();
                        let step = Step {
                            from,
                            phone: *phone,
                            extra: if n == 0 {
                                WORD - RARE * arc.weight
                            } else {
                                0.0
                            },
                            word: last.then_some(arc.word),
                        };
                        if last {
                            pending[arc.to as usize].push(step);
                        } else {
                            from = u32::try_from(into.len())?;
                            into.push(vec![step]);
                        }
                    }
                }
            }
        }
        Ok(Self {
            into,
            ends: graph
                .finals
                .iter()
                .map(|(state, weight)| (number[*state as usize], -RARE * weight))
                .collect(),
            words: graph.words.clone(),
        })
    }

    /// The sentence with the least edit distance to `phones`.
    fn nearest(&self, sounds: &Sounds, phones: &[u8]) -> Nearest {
        let nodes = self.into.len();
        // How each node of each column was reached: the step taken, and whether a phone was used.
        let mut how: Vec<Vec<(u16, bool)>> = Vec::with_capacity(phones.len() + 1);
        const STAY: u16 = u16::MAX;
        let mut before = vec![f32::INFINITY; nodes];
        for column in 0..=phones.len() {
            let heard = column.checked_sub(1).map(|c| phones[c]);
            let mut now = vec![f32::INFINITY; nodes];
            let mut trail = vec![(STAY, false); nodes];
            for node in 0..nodes {
                let mut best = match heard {
                    None if node == 0 => 0.0,
                    None => f32::INFINITY,
                    Some(heard) => before[node] + sounds.drop[heard as usize],
                };
                let mut by = (STAY, true);
                for (n, step) in self.into[node].iter().enumerate() {
                    let n = n as u16;
                    let left_out = now[step.from as usize] + sounds.drop[step.phone as usize];
                    if left_out + step.extra < best {
                        best = left_out + step.extra;
                        by = (n, false);
                    }
                    if let Some(heard) = heard {
                        let swapped = before[step.from as usize]
                            + sounds.swap[heard as usize][step.phone as usize];
                        if swapped + step.extra < best {
                            best = swapped + step.extra;
                            by = (n, true);
                        }
                    }
                }
                now[node] = best;
                trail[node] = by;
            }
            how.push(trail);
            before = now;
        }
        let Some((mut node, cost)) = self
            .ends
            .iter()
            .map(|(node, cost)| (*node as usize, before[*node as usize] + cost))
            .min_by(|a, b| a.1.total_cmp(&b.1))
        else {
            return Nearest {
                cost: f32::INFINITY,
                words: String::new(),
            };
        };
        let mut column = phones.len();
        let mut words = Vec::new();
        while node != 0 || column > 0 {
            let (step, used) = how[column][node];
            if used {
                column -= 1;
            }
            if step != STAY {
                let step = self.into[node][step as usize];
                words.extend(step.word.map(|w| self.words[w as usize].as_str()));
                node = step.from as usize;
            }
        }
        words.reverse();
        Nearest {
            cost,
            words: words.join(" "),
        }
    }
}

/// The graph's states, each after all that lead to it.
fn forward(graph: &WordGraph) -> anyhow::Result<Vec<u32>> {
    let mut waiting = vec![0u32; graph.states as usize];
    for arc in &graph.arcs {
        waiting[arc.to as usize] += 1;
    }
    let mut order = vec![0u32];
    let mut leaving: Vec<Vec<u32>> = vec![Vec::new(); graph.states as usize];
    for arc in &graph.arcs {
        leaving[arc.from as usize].push(arc.to);
    }
    let mut next = 0;
    while let Some(state) = order.get(next).copied() {
        for to in &leaving[state as usize] {
            waiting[*to as usize] -= 1;
            if waiting[*to as usize] == 0 {
                order.push(*to);
            }
        }
        next += 1;
    }
    if order.len() < graph.states as usize {
        bail!("the rule has a loop: this search needs a rule without `*` and `+`");
    }
    Ok(order)
}
