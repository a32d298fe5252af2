//! The program as a process, for tests that use it as people do. Each takes what it needs.
#![allow(dead_code)]

use std::path::Path;
use std::process::Output;

use assert_cmd::Command;

/// An hour after an hour of warm-up.
pub const SHORT: [&str; 4] = ["--set", "run.duration=1 h", "--set", "run.warm_up=1 h"];

/// The program, ready to be given arguments.
pub fn openshut() -> Command {
    Command::cargo_bin("openshut").unwrap()
}

/// Runs the program on so many threads with `--out`, and asks that it end with status 0.
pub fn on_threads(threads: &str, args: &[&str], out: &Path) -> Output {
    let run = openshut()
        .env("RAYON_NUM_THREADS", threads)
        .args(args)
        .arg("--out")
        .arg(out)
        .output()
        .unwrap();
    let complaint = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success(), "{complaint}");
    run
}

/// The bytes of files in a folder.
pub fn bytes<const N: usize>(folder: &Path, files: [&str; N]) -> [Vec<u8>; N] {
    files.map(|f| std::fs::read(folder.join(f)).unwrap())
}
