use bothhands::quantity::{MegOhms, Ohms};

fn main() {
    let _ = Ohms::exact(1.0) + MegOhms::exact(1.0);
}
