fn main() {
    for path in std::env::args().skip(1) {
        let x = bothhands::audio::read(std::path::Path::new(&path)).unwrap();
        let mut d = earshot::Detector::default_boxed();
        let s: Vec<f32> = x.chunks_exact(256).map(|f| d.predict_f32(f)).collect();
        let q: String = s
            .iter()
            .map(|v| char::from_digit(((v * 9.99) as u32).min(9), 10).unwrap())
            .collect();
        println!("{path}\n{q}");
        let u = bothhands::audio::utterances(&x, Default::default());
        for u in u {
            println!(
                "  {:.2}-{:.2}",
                u.start as f64 / 16000.,
                u.start as f64 / 16000. + u.seconds()
            );
        }
    }
}
