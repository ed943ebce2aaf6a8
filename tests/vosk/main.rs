//! vosk behind the trait, through the real library: a Korean model, a small Korean grammar and
//! Korean speech by espeak-ng. `tests/tools/test-vosk.sh` gets what it needs and runs it.

#![allow(
    missing_docs,
    unreachable_pub,
    reason = "a program of tests, used by nobody"
)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::missing_panics_doc,
    reason = "a test may fail"
)]

use assert_cmd::Command;
use bothhands::audio;
use bothhands::grammar::{Grammar, Intent};
use bothhands::speech::vosk::{Vosk, VoskError};
use bothhands::speech::{Decision, DecodeContext, Recogniser, Recognition};
use bothhands::terms::{Change, Statement};
use predicates::prelude::*;
use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// "Confirm", "no", "go on", "ready", "earth out", "earth back", and a lamp by a word that the model
/// does not know.
const KOREAN: &str = "#JSGF V1.0 UTF-8 ko;
grammar steps;
public <check> = 확인 {said:affirm}
               | 아니요 {said:negative}
               | 계속 {said:carry-on}
               | (준비 완료 {state:done}) {stated}
               | (접지 {conductors:E} (분리 {change:out} | 연결 {change:back})) {altered}
               | (전등 {part:lamp} 분리 {change:out}) {altered};
public <lamp> = 전등 {said:affirm};
";

fn model() -> PathBuf {
    std::env::var_os("BOTHHANDS_VOSK_MODEL").map_or_else(
        || panic!("no model: run tests/tools/test-vosk.sh, which sets BOTHHANDS_VOSK_MODEL"),
        PathBuf::from,
    )
}

fn korean() -> Arc<Grammar> {
    Arc::new(Grammar::from_texts([("korean.jsgf", KOREAN)]).unwrap())
}

/// Loaded once: it takes seconds.
static VOSK: LazyLock<Mutex<Vosk>> =
    LazyLock::new(|| Mutex::new(Vosk::open(&model(), korean()).unwrap()));

fn with_vosk<T>(act: impl FnOnce(&mut Vosk) -> T) -> T {
    act(&mut VOSK.lock().unwrap_or_else(PoisonError::into_inner))
}

fn check() -> DecodeContext {
    DecodeContext {
        rule: "check".to_owned(),
        excluded: Vec::new(),
    }
}

/// Korean speech with quiet on both sides.
fn spoken(words: &str) -> Vec<f32> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("said.wav");
    let done = std::process::Command::new("espeak-ng")
        .args(["-v", "ko", "-s", "140", "-w"])
        .arg(&file)
        .arg(words)
        .status();
    assert!(
        done.is_ok_and(|status| status.success()),
        "espeak-ng is needed; tests/tools/test-vosk.sh installs it"
    );
    let quiet = vec![0.0; 6400];
    [quiet.clone(), audio::read(&file).unwrap(), quiet].concat()
}

fn hear(words: &str) -> Recognition {
    let sound = spoken(words);
    let heard = with_vosk(|vosk| vosk.recognise(&sound, &check())).unwrap();
    println!(
        "{words}: {:?} {:?}, or {:?} {:?}",
        heard.outcome, heard.words, heard.runner_up, heard.scores
    );
    heard
}

#[test]
fn words_of_the_grammar_are_heard_with_their_meaning_and_times() {
    for (words, said) in [
        ("확인", Intent::Affirm),
        ("아니요", Intent::Negative),
        ("계속", Intent::CarryOn),
        ("준비 완료", Intent::Stated(Statement::Done)),
    ] {
        let heard = hear(words);
        assert_eq!(heard.words, words);
        assert_eq!(heard.said, Some(said));
        assert_ne!(heard.outcome, Decision::Reject, "{words}");
        let times: Vec<&str> = heard.times.iter().map(|w| w.word.as_str()).collect();
        assert_eq!(times.join(" "), words);
        assert!(heard.times.iter().all(|w| w.from < w.to));
    }
    let Some(Intent::Altered(earth)) = hear("접지 연결").said else {
        panic!("no alteration")
    };
    assert_eq!(earth.change, Change::Back);
}

#[test]
fn at_least_one_clear_word_is_taken_without_a_question() {
    let taken = ["확인", "아니요", "계속", "준비 완료"]
        .iter()
        .filter(|words| hear(words).outcome == Decision::Accept)
        .count();
    assert!(taken >= 3, "{taken} of 4");
}

#[test]
fn what_may_go_on_is_told() {
    assert!(!hear("준비 완료").may_go_on);
    assert!(!hear("확인").may_go_on);
}

#[test]
fn what_was_refused_is_not_heard_again() {
    let sound = spoken("확인");
    let expected = DecodeContext {
        excluded: vec![Intent::Affirm],
        ..check()
    };
    let heard = with_vosk(|vosk| vosk.recognise(&sound, &expected)).unwrap();
    assert_ne!(heard.said, Some(Intent::Affirm));
}

#[test]
fn other_talk_is_not_taken() {
    for words in [
        "오늘 날씨 좋다",
        "점심 먹으러 갑시다",
        "사다리 좀 잡아 주세요",
        "커피 한 잔 마시자",
    ] {
        assert_ne!(hear(words).outcome, Decision::Accept, "{words}");
    }
}

#[test]
fn sounds_without_words_are_not_for_us() {
    let mut random = fastrand::Rng::with_seed(1);
    let noise: Vec<f32> = (0..32_000).map(|_| random.f32() * 0.4 - 0.2).collect();
    let tone: Vec<f32> = (0..32_000).map(|n| (n as f32 * 0.4).sin() * 0.3).collect();
    let quiet = vec![0.0; 32_000];
    for sound in [
        noise,
        tone,
        quiet,
        vec![f32::NAN; 32_000],
        vec![0.1; 10],
        Vec::new(),
    ] {
        let heard = with_vosk(|vosk| vosk.recognise(&sound, &check())).unwrap();
        assert_eq!(heard.outcome, Decision::Reject);
    }
}

#[test]
fn a_word_that_the_model_lacks_is_named_and_its_sentences_are_never_heard() {
    let warnings = with_vosk(|vosk| {
        assert_eq!(vosk.not_heard(), ["전등"]);
        vosk.warnings().join("\n")
    });
    assert!(warnings.contains("does not know these words") && warnings.contains("전등"));
    assert!(!hear("전등 분리").words.contains("전등"));
    let error = with_vosk(|vosk| vosk.prepare("lamp")).unwrap_err();
    assert!(matches!(&error, VoskError::NoSentence { words, .. } if words == &["전등"]));
    assert!(error.to_string().contains("rule `lamp`"), "{error}");
}

#[test]
fn a_model_without_a_word_for_the_unknown_is_said_to_be_so() {
    with_vosk(|vosk| {
        assert!(!vosk.rejects());
        assert!(vosk.warnings().join("\n").contains("[unk]"));
    });
}

#[test]
fn a_rule_that_is_not_there_is_an_error() {
    let expected = DecodeContext {
        rule: "nowhere".to_owned(),
        excluded: Vec::new(),
    };
    let error = with_vosk(|vosk| vosk.recognise(&[0.0; 16_000], &expected)).unwrap_err();
    assert!(error.to_string().contains("nowhere"), "{error}");
}

#[test]
fn the_engine_names_its_model() {
    assert!(with_vosk(|vosk| vosk.describe()).starts_with("vosk ("));
}

fn refusal(folder: &Path) -> String {
    match Vosk::open(folder, korean()) {
        Ok(_) => panic!("{} was opened", folder.display()),
        Err(error) => error.to_string(),
    }
}

#[test]
fn a_folder_that_is_no_model_is_refused_with_what_to_give() {
    let folder = tempfile::tempdir().unwrap();
    let message = refusal(&folder.path().join("missing"));
    assert!(
        message.contains("no such folder; give --vosk-model"),
        "{message}"
    );

    let message = refusal(folder.path());
    assert!(
        message.contains("no vosk model is in this folder"),
        "{message}"
    );

    std::fs::create_dir_all(folder.path().join("am")).unwrap();
    std::fs::create_dir_all(folder.path().join("graph")).unwrap();
    std::fs::write(folder.path().join("am/final.mdl"), "no model").unwrap();
    let message = refusal(folder.path());
    assert!(
        message.contains("cannot be restricted to a grammar"),
        "{message}"
    );

    std::fs::write(folder.path().join("graph/HCLr.fst"), "no graph").unwrap();
    std::fs::write(folder.path().join("graph/Gr.fst"), "no graph").unwrap();
    let message = refusal(folder.path());
    assert!(message.contains("could not use this model"), "{message}");
}

#[test]
fn the_shipped_grammar_is_refused_by_a_model_of_another_language() {
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("clip.wav");
    std::fs::write(&clip, "").unwrap();
    let manifest = folder.path().join("list.tsv");
    std::fs::write(&manifest, "clip.wav\n").unwrap();
    let vosk = |args: &[&str]| {
        let mut command = Command::cargo_bin("bothhands").unwrap();
        command.args(args).args(["--engine", "vosk"]);
        command
    };
    for args in [
        ["hear", clip.to_str().unwrap()],
        ["score", manifest.to_str().unwrap()],
    ] {
        vosk(&args)
            .arg("--vosk-model")
            .arg(model())
            .assert()
            .code(2)
            .stderr(
                predicate::str::contains("another language")
                    .and(predicate::str::contains("affirmative")),
            );
        vosk(&args)
            .args(["--vosk-model", "no-such-model"])
            .assert()
            .code(2)
            .stderr(predicate::str::contains(
                "no-such-model: there is no such folder",
            ));
        vosk(&args)
            .assert()
            .code(2)
            .stderr(predicate::str::contains("needs --vosk-model DIR"));
    }
}
