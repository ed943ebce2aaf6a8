//! The same sums on every processor: what the model that ships gives is compared with what is
//! recorded in `models/same/`, on this processor and on two that Debian's user-mode emulator plays.
//!
//! The integer sums must be equal, the decisions the same and the scores within [`WITHIN`]; how it is
//! done stands in `models/train/same_sums.py`, what was measured in `models/README.md`, "The same
//! sums on every processor". `tests/hearing/clips.rs` compares the decision of every clip of the fixed set.
//!
//! Where something differs, what this run gave is written under `tests/cache/same/`: after a new
//! model, look at it and copy it over.

use bothhands::audio::{self, levelled};
use bothhands::grammar::Grammar;
use bothhands::speech::ear::{Acoustics, Ear};
use bothhands::speech::{DecodeContext, Recogniser, Recognition};
use rten::{Model, ModelOptions, Value, ValueOrView};
use rten_onnx::onnx::{DataType, ModelProto, TensorProto};
use rten_tensor::Tensor;
use rten_tensor::prelude::*;
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

/// The two models that ship.
static MODELS: [(&str, &[u8]); 2] = [
    (
        "models/ear.int8.onnx",
        include_bytes!("../../models/ear.int8.onnx"),
    ),
    (
        "models/ear.base.int8.onnx",
        include_bytes!("../../models/ear.base.int8.onnx"),
    ),
];

/// How far a score may be from the recorded one. They should be equal to the last bit; this is what
/// is promised.
const WITHIN: f32 = 0.01;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// One quantised matrix and the values of the graph that it is multiplied with and gives.
struct Matrix {
    name: String,
    weights: Vec<i8>,
    rows: usize,
    columns: usize,
    activations: String,
    zero_point: String,
    sums: String,
}

fn bytes(tensor: &TensorProto) -> Vec<u8> {
    let raw = tensor.raw_data.as_ref().map(|raw| raw.borrow().clone());
    raw.unwrap_or_default()
}

/// Every tensor of bytes in the model, by name.
fn tensors_of_bytes(onnx: &[u8]) -> BTreeMap<String, TensorProto> {
    let model = ModelProto::parse_buf(onnx).unwrap();
    let constants = model.graph.unwrap().initializer;
    constants
        .into_iter()
        .filter(|t| matches!(t.data_type, Some(DataType::INT8 | DataType::UINT8)))
        .map(|t| (t.name.clone().unwrap(), t))
        .collect()
}

/// How many bits a float needs from its first to its last that is not 0.
fn bits(value: f32) -> u32 {
    let fraction = value.to_bits() & 0x7f_ffff;
    match value {
        0.0 => 0,
        _ => 24 - (fraction | 0x80_0000).trailing_zeros(),
    }
}

fn matrices(onnx: &[u8]) -> Vec<Matrix> {
    let constants = tensors_of_bytes(onnx);
    let graph = ModelProto::parse_buf(onnx).unwrap().graph.unwrap();
    let products = graph
        .node
        .into_iter()
        .filter(|node| node.op_type.as_deref() == Some("MatMulInteger"));
    products
        .map(|node| {
            let [activations, name, zero_point, _] = node.input.try_into().unwrap();
            let tensor = &constants[&name];
            let [rows, columns] = tensor.dims[..] else {
                panic!("{name} is no matrix");
            };
            Matrix {
                weights: bytes(tensor).into_iter().map(|b| b as i8).collect(),
                rows: rows as usize,
                columns: columns as usize,
                activations,
                zero_point,
                sums: node.output[0].clone(),
                name,
            }
        })
        .collect()
}

/// The graph as it stands in the file, so that the sums of each matrix can be asked for.
fn graph(onnx: &'static [u8]) -> Model {
    let mut options = ModelOptions::with_all_ops();
    options.enable_optimization(false);
    options.load_static_slice(onnx).unwrap()
}

/// The sums of plain arithmetic: each activation, less the zero point, times each weight.
fn plain(matrix: &Matrix, activations: &[u8], zero_point: u8) -> Vec<i32> {
    let mut sums = Vec::new();
    for row in activations.chunks_exact(matrix.rows) {
        let mut of_row = vec![0i32; matrix.columns];
        for (&a, weights) in row.iter().zip(matrix.weights.chunks_exact(matrix.columns)) {
            let a = i32::from(a) - i32::from(zero_point);
            for (sum, &w) in of_row.iter_mut().zip(weights) {
                *sum += a * i32::from(w);
            }
        }
        sums.extend(of_row);
    }
    sums
}

/// Activations for `rows` rows: the greatest there are, where sums of 16 bits overflow first; every
/// other one of them; then any.
fn activations(matrix: &Matrix, rows: usize) -> Vec<u8> {
    let mut state = 1u32;
    let mut any = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    (0..rows * matrix.rows)
        .map(|n| match n / matrix.rows {
            0 => 255,
            1 => 255 * (n % 2) as u8,
            _ => any(),
        })
        .collect()
}

fn tensor(value: &Value) -> Tensor<i32> {
    let view: rten_tensor::TensorView<i32> = value.try_into().unwrap();
    view.to_tensor()
}

fn hash(sums: &[i32]) -> String {
    let mut hash = Sha256::new();
    for sum in sums {
        hash.update(sum.to_le_bytes());
    }
    format!("{:x}", hash.finalize())
}

/// What is recorded in `models/same/NAME`.
fn recorded<T: for<'a> Deserialize<'a>>(name: &str) -> T {
    let path = root().join("models/same").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_default();
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("models/same/{name}: {e}"))
}

/// Whether this is the run on a processor that the emulator plays.
fn is_emulated() -> bool {
    std::env::var_os("EMULATED").is_some()
}

/// Keeps what this run gave, to be looked at.
fn keep(name: &str, given: &impl Serialize) {
    if !is_emulated() {
        let folder = root().join("tests/cache/same");
        std::fs::create_dir_all(&folder).unwrap();
        let text = serde_json::to_string_pretty(given).unwrap() + "\n";
        std::fs::write(folder.join(name), text).unwrap();
    }
}

/// What of the processor's arithmetic the program chooses its ways of adding by.
fn processor() -> String {
    #[cfg(target_arch = "x86_64")]
    let told = format!(
        "avx {}, avx2 {}, fma {}, avx512bw {}, avx512vnni {}",
        is_x86_feature_detected!("avx"),
        is_x86_feature_detected!("avx2"),
        is_x86_feature_detected!("fma"),
        is_x86_feature_detected!("avx512bw"),
        is_x86_feature_detected!("avx512vnni"),
    );
    #[cfg(not(target_arch = "x86_64"))]
    let told = std::env::consts::ARCH.to_owned();
    told
}

#[test]
fn no_weight_needs_more_than_seven_bits() {
    for (model, onnx) in MODELS {
        let matrices = matrices(onnx);
        assert!(!matrices.is_empty());
        for matrix in &matrices {
            assert_eq!(matrix.weights.len(), matrix.rows * matrix.columns);
            let greatest = matrix.weights.iter().map(|w| w.unsigned_abs()).max();
            assert!(
                greatest <= Some(64),
                "{model}, {}: {greatest:?}",
                matrix.name
            );
        }
        // Whatever else is a tensor of bytes must be the zero points of these, all 0.
        for (name, tensor) in &tensors_of_bytes(onnx) {
            let weights = matrices.iter().any(|m| m.name == *name);
            assert_eq!(tensor.data_type, Some(DataType::INT8), "{model}, {name}");
            assert!(
                weights || bytes(tensor).iter().all(|&b| b == 0),
                "{model}, {name} is neither the weights of a product nor zero points of 0"
            );
        }
    }
}

#[test]
fn every_matrix_sums_as_recorded() {
    println!("processor: {}", processor());
    let mut given = BTreeMap::new();
    for (model, onnx) in MODELS {
        let graph = graph(onnx);
        for matrix in matrices(onnx) {
            let id = |name: &str| graph.node_id(name).unwrap();
            // Several rows at once and a row by itself go different ways.
            for rows in [5, 1] {
                let activations = activations(&matrix, rows);
                let zero_point = 117u8;
                let inputs: Vec<(_, ValueOrView)> = vec![
                    (
                        id(&matrix.activations),
                        Value::from(Tensor::from_data(
                            &[1, rows, matrix.rows],
                            activations.clone(),
                        ))
                        .into(),
                    ),
                    (
                        id(&matrix.zero_point),
                        Value::from(Tensor::from(zero_point)).into(),
                    ),
                ];
                let sums = graph.run(inputs, &[id(&matrix.sums)], None).unwrap();
                let sums = tensor(&sums[0]).to_vec();
                assert_eq!(sums.len(), rows * matrix.columns);
                // On the emulated processors what is recorded, from this arithmetic here, is enough.
                if !is_emulated() {
                    let plain = plain(&matrix, &activations, zero_point);
                    let wrong = sums.iter().zip(&plain).filter(|(a, b)| a != b).count();
                    assert_eq!(
                        wrong,
                        0,
                        "{model}, {}, {rows} rows: sums that differ, of {}",
                        matrix.name,
                        sums.len()
                    );
                }
                given.insert(
                    format!("{model}, {}, rows {rows}", matrix.name),
                    hash(&sums),
                );
            }
        }
    }
    keep("sums.json", &given);
    assert_eq!(recorded::<BTreeMap<String, String>>("sums.json"), given);
}

/// The recordings that are committed.
fn recordings() -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = ["demo/recordings", "tests/reference"]
        .iter()
        .flat_map(|folder| std::fs::read_dir(root().join(folder)).unwrap())
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "flac"))
        .map(|path| path.strip_prefix(root()).unwrap().to_owned())
        .collect();
    all.sort();
    all
}

#[test]
fn the_sums_behind_what_is_heard_are_those_of_plain_arithmetic() {
    let acoustics = Acoustics::shipped(1).unwrap();
    let samples = audio::read(&root().join("tests/reference/reading.flac")).unwrap();
    let mel = acoustics.features(&levelled(&samples));
    let shape = [1, mel.values.len() / mel.frames, mel.frames];
    for (model, onnx) in MODELS {
        let graph = graph(onnx);
        for matrix in matrices(onnx) {
            let ids = [&matrix.activations, &matrix.zero_point, &matrix.sums];
            let ids = ids.map(|name| graph.node_id(name).unwrap());
            let input = Value::from(Tensor::from_data(&shape, mel.values.clone()));
            let values = graph
                .run(vec![(graph.input_ids()[0], input.into())], &ids, None)
                .unwrap();
            let of_bytes = |value: &Value| -> Vec<u8> {
                let view: rten_tensor::TensorView<u8> = value.try_into().unwrap();
                view.to_vec()
            };
            let (activations, zero_point) = (of_bytes(&values[0]), of_bytes(&values[1])[0]);
            let sums = tensor(&values[2]).to_vec();
            // Every 16th row is enough to see any error.
            for (activations, sums) in activations
                .chunks_exact(matrix.rows)
                .zip(sums.chunks_exact(matrix.columns))
                .step_by(16)
            {
                assert!(
                    plain(&matrix, activations, zero_point) == sums,
                    "{model}, {}",
                    matrix.name
                );
            }
        }
    }
}

/// A processor that multiplies and adds in one step gives the same as one that rounds in between
/// where the product needs no rounding: a float has 24 bits.
#[test]
fn no_product_of_floats_is_rounded() {
    let acoustics = Acoustics::shipped(1).unwrap();
    let samples = audio::read(&root().join("tests/reference/reading.flac")).unwrap();
    let mel = acoustics.features(&levelled(&samples));
    let shape = [1, mel.values.len() / mel.frames, mel.frames];
    let most = |values: &[f32]| values.iter().map(|&v| bits(v)).max().unwrap_or(0);
    for (model, onnx) in MODELS {
        let parsed = ModelProto::parse_buf(onnx).unwrap().graph.unwrap();
        let constants: BTreeMap<_, _> = parsed
            .initializer
            .iter()
            .map(|t| (t.name.clone().unwrap(), bytes(t)))
            .collect();
        let graph = graph(onnx);
        let input = Value::from(Tensor::from_data(&shape, mel.values.clone()));
        let factors = parsed
            .node
            .iter()
            .filter(|n| matches!(n.op_type.as_deref(), Some("MatMul" | "Conv")))
            .flat_map(|n| n.input[..2].to_vec());
        let computed: BTreeSet<String> = factors.filter(|f| !constants.contains_key(f)).collect();
        let wanted: Vec<_> = computed.iter().map(|f| graph.node_id(f).unwrap()).collect();
        let inputs = vec![(graph.input_ids()[0], input.into())];
        let given = graph.run(inputs, &wanted, None).unwrap();
        let mut given: BTreeMap<String, u32> = computed
            .into_iter()
            .zip(&given)
            .map(|(name, value)| {
                let view: rten_tensor::TensorView<f32> = value.try_into().unwrap();
                (name, most(&view.to_vec()))
            })
            .collect();
        given.extend(constants.iter().map(|(name, bytes)| {
            let values = bytes.chunks_exact(4);
            let values = values.map(|b| f32::from_le_bytes(b.try_into().unwrap()));
            (name.clone(), most(&values.collect::<Vec<_>>()))
        }));
        let mut products = 0;
        for node in &parsed.node {
            let kind = node.op_type.as_deref().unwrap();
            let alone = ["Erf", "Exp", "Gelu", "Log", "LogSoftmax", "Softmax", "Tanh"];
            assert!(!alone.contains(&kind), "{model}: {kind} is not a table");
            if kind == "MatMul" || kind == "Conv" {
                let (a, b) = (given[&node.input[0]], given[&node.input[1]]);
                let name = &node.output[0];
                assert!(a + b <= 24 || b == 1, "{model}, {name}: {a} and {b} bits");
                products += 1;
            }
        }
        assert!(products > 20, "{model}: {products} products");
    }
}

/// What was heard in a recording.
#[derive(Debug, Serialize, Deserialize)]
struct Decision {
    clip: PathBuf,
    rule: String,
    outcome: String,
    words: String,
    fit: f32,
    margin: f32,
}

impl Decision {
    fn of(clip: &Path, rule: &str, heard: &Recognition) -> Self {
        let mut json = serde_json::to_value(heard).unwrap();
        Self::read(clip, rule, &json.take())
    }

    /// From what `bothhands hear --json` prints.
    fn read(clip: &Path, rule: &str, line: &Json) -> Self {
        let text = |key: &str| line[key].as_str().unwrap().to_owned();
        let score = |key: &str| line["scores"][key].as_f64().unwrap() as f32;
        Self {
            clip: clip.to_owned(),
            rule: rule.to_owned(),
            outcome: text("outcome"),
            words: text("words"),
            fit: score("fit"),
            margin: score("margin"),
        }
    }

    /// What is not as it was recorded.
    fn unlike(&self, recorded: &Self) -> Option<String> {
        let same = (&self.clip, &self.rule, &self.outcome, &self.words)
            == (
                &recorded.clip,
                &recorded.rule,
                &recorded.outcome,
                &recorded.words,
            );
        let near = (self.fit - recorded.fit).abs() <= WITHIN
            && (self.margin - recorded.margin).abs() <= WITHIN;
        (!same || !near).then(|| format!("{self:?}, and was {recorded:?}"))
    }
}

/// What was heard, and by each model the log-probability of the likeliest phone of every frame.
#[derive(Default, Serialize, Deserialize)]
struct Scores {
    heard: Vec<Decision>,
    phones: Phones,
}

/// By model and recording.
type Phones = BTreeMap<String, Vec<(u8, f32)>>;

/// Rules that the recordings are heard by: everything at once, and one step's.
const RULES: [&str; 2] = ["anything", "insulation"];

#[test]
fn scores_and_decisions_are_those_recorded() {
    let mut ear = Ear::new(Arc::new(Grammar::built_in().unwrap()), 1).unwrap();
    let mut given = Scores::default();
    for rule in RULES {
        let expected = DecodeContext {
            rule: rule.to_owned(),
            excluded: Vec::new(),
        };
        for clip in recordings() {
            let samples = audio::read(&root().join(&clip)).unwrap();
            let heard = ear.recognise(&samples, &expected).unwrap();
            given.heard.push(Decision::of(&clip, rule, &heard));
        }
    }
    given.phones = phones();
    keep("scores.json", &given);
    let recorded: Scores = recorded("scores.json");
    assert_eq!(given.heard.len(), recorded.heard.len());
    let pairs = given.heard.iter().zip(&recorded.heard);
    let unlike: Vec<_> = pairs.filter_map(|(a, b)| a.unlike(b)).collect();
    assert!(unlike.is_empty(), "{}", unlike.join("\n"));
    assert_phones(&given.phones, &recorded.phones);
}

/// The shortest recording of words of ours.
const SHORTEST: &str = "tests/reference/digits.flac";

/// The likeliest phone of every frame of two recordings, on the emulated processors of the shortest.
fn phones() -> Phones {
    let mut all = Phones::new();
    for (model, _) in MODELS {
        let acoustics = Acoustics::open(&root().join(model), 1).unwrap();
        for clip in recordings() {
            let wanted = !is_emulated() || clip == Path::new(SHORTEST);
            if clip.starts_with("tests/reference") && wanted {
                let samples = levelled(&audio::read(&root().join(&clip)).unwrap());
                let probs = acoustics.log_probs(&samples).unwrap();
                let name = format!("{model}, {}", clip.display());
                all.insert(name, probs.best().collect());
            }
        }
    }
    all
}

fn assert_phones(given: &Phones, recorded: &Phones) {
    let each = if is_emulated() { 1 } else { 2 };
    assert_eq!(recorded.len(), 2 * MODELS.len());
    assert_eq!(given.len(), each * MODELS.len());
    for (clip, given) in given {
        assert_eq!(given.len(), recorded[clip].len(), "{clip}");
        for (frame, (a, b)) in given.iter().zip(&recorded[clip]).enumerate() {
            assert!(
                a.0 == b.0 && (a.1 - b.1).abs() <= WITHIN,
                "{clip}, frame {frame}: {a:?}, and was {b:?}"
            );
        }
    }
}

#[test]
fn the_likeliest_phones_are_those_recorded() {
    println!("processor: {}", processor());
    assert_phones(&phones(), &recorded::<Scores>("scores.json").phones);
}

/// Runs this test binary's sums and phones, and the program on a few recordings, on a processor
/// that Debian's user-mode emulator plays (others with `EMULATE=more`, in `make test-long`); `has` is how such a processor tells of itself.
fn emulated(model: &str, has: &str) {
    let emulator = |program: &Path| {
        let mut command = Command::new("qemu-x86_64");
        command.args(["-cpu", model]).arg(program);
        command.env("EMULATED", model).current_dir(root());
        command
    };
    let run = |mut command: Command| {
        let out = command
            .output()
            .unwrap_or_else(|e| panic!("{e}: install qemu-user: {command:?}"));
        let text = String::from_utf8_lossy(&out.stdout).into_owned();
        let errors = String::from_utf8_lossy(&out.stderr);
        assert!(out.status.success(), "{model}: {command:?}\n{text}{errors}");
        text
    };

    let mut tests = emulator(&std::env::current_exe().unwrap());
    tests.args(["--nocapture", "--test-threads=1"]).args([
        "every_matrix_sums_as_recorded",
        "the_likeliest_phones_are_those_recorded",
    ]);
    let text = run(tests);
    assert!(text.contains("test result: ok. 2 passed"), "{text}");
    assert_eq!(text.matches(has).count(), 2, "{text}");

    let rule = "insulation";
    // Words of the rule and words that are not; a second of sound takes half a minute there.
    let long = std::env::var_os("EMULATE").is_some_and(|which| which == "more");
    let clips = match long {
        false => &[SHORTEST, "demo/recordings/05-dead.flac"][..],
        true => &[
            "tests/reference/reading.flac",
            "demo/recordings/22-chat.flac",
            "demo/recordings/12-low.flac",
        ],
    };
    let mut hear = emulator(Path::new(env!("CARGO_BIN_EXE_bothhands")));
    hear.args(["hear", "--whole", "--json", "--rule", rule])
        .args(clips);
    let text = run(hear);
    let recorded = recorded::<Scores>("scores.json").heard;
    assert_eq!(text.lines().count(), clips.len());
    for (clip, line) in clips.iter().zip(text.lines()) {
        let line: Json = serde_json::from_str(line).unwrap();
        let given = Decision::read(Path::new(clip), rule, &line);
        let recorded = recorded
            .iter()
            .find(|r| r.clip == given.clip && r.rule == rule)
            .unwrap();
        assert_eq!(given.unlike(recorded), None, "{model}");
    }
}

#[test]
#[cfg_attr(
    not(target_arch = "x86_64"),
    ignore = "plays processors by which this host's program does not run (x86-64)"
)]
fn without_avx_it_hears_the_same() {
    emulated("Nehalem", "processor: avx false, avx2 false, fma false");
}

#[test]
#[cfg_attr(
    not(target_arch = "x86_64"),
    ignore = "plays processors by which this host's program does not run (x86-64)"
)]
fn with_avx2_and_no_avx512_it_hears_the_same() {
    emulated(
        "Haswell",
        "avx2 true, fma true, avx512bw false, avx512vnni false",
    );
}
