//! Units never mix: these programs must not compile.

#[test]
fn units_never_mix() {
    trybuild::TestCases::new().compile_fail("tests/units/*.rs");
}
