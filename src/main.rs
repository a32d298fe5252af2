//! The `openshut` program; see the library for everything it does.

fn main() -> std::process::ExitCode {
    openshut::main()
}
