//! What came of it.

use crate::sessions::What;
use bothhands::voice::Tone;
use std::collections::BTreeMap;
use std::io::Write;

/// Seconds.
const WARM: f64 = 60.0;

/// Something that was said at a phone.
struct Said {
    from: u64,
    to: u64,
    ends: f64,
}

pub(crate) fn write(
    out: &mut impl Write,
    people: usize,
    told: &[String],
    seen: &[(usize, f64, What)],
) -> std::io::Result<()> {
    let mut said: BTreeMap<usize, Vec<Said>> = BTreeMap::new();
    let mut sounds = BTreeMap::new();
    let mut given_up = 0;
    for line in told {
        let words: Vec<&str> = line.split(' ').collect();
        let number = |n: usize| words[n].parse::<u64>().unwrap_or(0);
        match words[0] {
            "said" => said.entry(number(1) as usize).or_default().push(Said {
                from: number(2),
                to: number(3),
                ends: words[4].parse().unwrap_or(f64::NAN),
            }),
            "sound" => {
                let at: f64 = words[3].parse().unwrap_or(f64::NAN);
                sounds.insert((number(1) as usize, number(2)), at);
            }
            "given-up" => given_up += 1,
            _ => writeln!(out, "{line} s")?,
        }
    }
    let (mut all, mut lost, mut twice, mut unanswered) = (0, 0, 0, 0);
    let (mut pauses, mut answers, mut from_speech) = (Vec::new(), Vec::new(), Vec::new());
    // By then every session has heard something: what its step takes is spelt out when it is first heard.
    let ends = said.values().flatten().map(|said| said.ends);
    let warm = ends.fold(f64::INFINITY, f64::min) + WARM;
    let mut later = Vec::new();
    let mut read_back = Vec::new();
    let (mut neighbours, mut notices) = (0, BTreeMap::<&str, u32>::new());
    for (_, _, what) in seen {
        match what {
            What::Neighbour => neighbours += 1,
            What::Notice(notice) => *notices.entry(notice).or_default() += 1,
            _ => {}
        }
    }
    for phone in 0..people {
        let own: Vec<_> = seen.iter().filter(|(of, ..)| *of == phone).collect();
        for said in said.get(&phone).into_iter().flatten() {
            all += 1;
            let found: Vec<usize> = own
                .iter()
                .enumerate()
                .filter(|(_, (_, _, what))| {
                    matches!(what, What::Decided { start, speech_end } if *start < said.to && *speech_end > said.from)
                })
                .map(|(n, _)| n)
                .collect();
            let Some(last) = found.last() else {
                lost += 1;
                continue;
            };
            twice += u32::from(found.len() > 1);
            let decided = own[*last].1;
            pauses.push(decided - said.ends);
            let puts = own[*last + 1..]
                .iter()
                .take_while(|(_, _, what)| !matches!(what, What::Decided { .. }))
                .filter_map(|(_, _, what)| match what {
                    What::Put { id, tone } => Some((*id, *tone)),
                    _ => None,
                });
            let puts: Vec<_> = puts.collect();
            let first = puts.first().and_then(|(id, _)| sounds.get(&(phone, *id)));
            let Some(first) = first else {
                unanswered += 1;
                continue;
            };
            read_back.push(puts.iter().any(|(_, tone)| *tone == Tone::ReadBack));
            answers.push(first - decided);
            if said.ends > warm {
                later.push(first - decided);
            }
            from_speech.push(first - said.ends);
        }
    }
    let readings = read_back.iter().filter(|is| **is).count();
    writeln!(
        out,
        "{people} phones: {all} said, {lost} lost, {twice} in two pieces, {unanswered} unanswered, {readings} read back; {given_up} posts given up, {neighbours} taken for a neighbour's"
    )?;
    for (what, mut of) in [
        (
            "from the decision to the first sound of the answer",
            answers,
        ),
        ("the same after the first minute", later),
        (
            "from the last sound of speech to the first of the answer",
            from_speech,
        ),
        ("the end pause, with the way here", pauses),
    ] {
        of.sort_by(f64::total_cmp);
        let at = |share: f64| of.get(((of.len() as f64 * share) as usize).min(of.len().max(1) - 1));
        let at = |share: f64| at(share).copied().unwrap_or(f64::NAN);
        writeln!(
            out,
            "{what}: n {}, median {:.2} s, 95 % within {:.2} s, slowest {:.2} s",
            of.len(),
            at(0.5),
            at(0.95),
            at(1.0)
        )?;
    }
    for (notice, times) in notices {
        writeln!(out, "told {times} times: {notice}")?;
    }
    for (phone, _, what) in seen {
        if let What::Ended(told) = what {
            writeln!(out, "phone {phone}: {told}")?;
        }
    }
    Ok(())
}
