//! Command line of nestline: arguments, dispatch, exit code.
fn main() {}
