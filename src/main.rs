//! The `reststrom` command.

fn main() -> std::process::ExitCode {
    reststrom::cli::main()
}
