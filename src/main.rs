//! The `reststrom` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::SUCCESS
}
