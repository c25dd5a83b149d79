//! The tools that tests call: outside readers of what Darkline writes, and what C code needs to be built.
//!
//! A missing tool is installed where that is allowed (Debian's `apt-get` as root, or by a `sudo` that asks nothing),
//! said first. Where it is not allowed, that is an error that names the tool and its package; a test never goes missing
//! because its tool did.

use std::path::Path;
use std::process::{Command, Stdio};

/// A tool and how to tell that it is there.
struct Tool {
    /// What it is called.
    name: &'static str,
    /// A call that succeeds where the tool is there.
    probe: &'static [&'static str],
    /// Where it comes from.
    from: Origin,
    /// What it is for.
    purpose: &'static str,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Origin {
    Debian(&'static str),
    Rustup(&'static str),
    /// A package of Node's registry, into `target/node`.
    Node(&'static str),
}

const TOOLS: &[Tool] = &[
    Tool {
        name: "cargo fmt",
        probe: &["cargo", "fmt", "--version"],
        from: Origin::Rustup("rustfmt"),
        purpose: "the format",
    },
    Tool {
        name: "cargo clippy",
        probe: &["cargo", "clippy", "--version"],
        from: Origin::Rustup("clippy"),
        purpose: "the lints",
    },
    Tool {
        name: "cc",
        probe: &["cc", "--version"],
        from: Origin::Debian("build-essential"),
        purpose: "builds SQLite and zstd",
    },
    Tool {
        name: "pdfinfo",
        probe: &["pdfinfo", "-v"],
        from: Origin::Debian("poppler-utils"),
        purpose: "reads our reports",
    },
    Tool { name: "qpdf", probe: &["qpdf", "--version"], from: Origin::Debian("qpdf"), purpose: "checks our reports" },
    Tool {
        name: "openssl",
        probe: &["openssl", "version"],
        from: Origin::Debian("openssl"),
        purpose: "checks our signatures",
    },
    Tool {
        name: "postgres",
        // Debian keeps it off the path, one folder a version.
        probe: &["sh", "-c", "command -v initdb || ls /usr/lib/postgresql/*/bin/initdb"],
        from: Origin::Debian("postgresql"),
        purpose: "keeps records of several benches",
    },
    Tool {
        name: "python3 with cryptography",
        probe: &["python3", "-c", "import cryptography"],
        from: Origin::Debian("python3-cryptography"),
        purpose: "verifies our archives",
    },
    Tool {
        name: "strace",
        probe: &["strace", "--version"],
        from: Origin::Debian("strace"),
        purpose: "lets disks fail in tests",
    },
    Tool {
        name: "chromium",
        probe: &["chromium", "--version"],
        from: Origin::Debian("chromium"),
        purpose: "looks at the pages",
    },
    Tool {
        name: "chromedriver",
        probe: &["chromedriver", "--version"],
        from: Origin::Debian("chromium-driver"),
        purpose: "drives the browser",
    },
    Tool { name: "npm", probe: &["npm", "--version"], from: Origin::Debian("npm"), purpose: "brings axe-core" },
    Tool {
        name: "axe-core",
        probe: &["test", "-f", "target/node/node_modules/axe-core/axe.min.js"],
        from: Origin::Node("axe-core@4"),
        purpose: "looks whether everybody can use the pages",
    },
    Tool {
        name: "python3 with venv",
        probe: &["python3", "-c", "import ensurepip, venv"],
        from: Origin::Debian("python3-venv"),
        purpose: "runs outside checks",
    },
];

/// Looks for every tool, says what is missing and what will be installed, and installs it.
///
/// # Arguments
/// * `dry_run`: says what would be installed and leaves it at that.
///
/// # Errors
/// A tool is missing and may not or could not be installed.
pub fn bring(dry_run: bool) -> Result<(), String> {
    let missing: Vec<&Tool> = TOOLS.iter().filter(|tool| !succeeds(tool.probe)).collect();
    for tool in TOOLS {
        let found = if missing.iter().any(|other| other.name == tool.name) { "missing" } else { "there" };
        println!("  {found:<8} {} ({})", tool.name, tool.purpose);
    }
    if missing.is_empty() {
        return Ok(());
    }
    let commands = installing(&missing, apt_get().as_deref(), succeeds(&["rustup", "--version"]))?;
    for command in &commands {
        println!("  installs: {}", command.join(" "));
    }
    if dry_run {
        return Ok(());
    }
    for command in &commands {
        let status = Command::new(&command[0])
            .args(&command[1..])
            .env("DEBIAN_FRONTEND", "noninteractive")
            .stdin(Stdio::null())
            .status()
            .map_err(|fault| format!("{}: {fault}", command.join(" ")))?;
        if !status.success() {
            return Err(format!("{} ended with {status}", command.join(" ")));
        }
    }
    match TOOLS.iter().find(|tool| !succeeds(tool.probe)) {
        None => Ok(()),
        Some(tool) => Err(format!("{} is still missing after the installation", tool.name)),
    }
}

/// The commands that install what is missing.
///
/// # Arguments
/// * `apt_get`: how to call it, `None` where it is not there or not allowed.
///
/// # Errors
/// Names every tool that cannot be installed, and how a person would.
fn installing(missing: &[&Tool], apt_get: Option<&[String]>, has_rustup: bool) -> Result<Vec<Vec<String>>, String> {
    let mut commands = Vec::new();
    let mut helpless = Vec::new();
    let mut components = Vec::new();
    let mut packages = Vec::new();
    let mut node = Vec::new();
    for tool in missing {
        match (tool.from, apt_get, has_rustup) {
            (Origin::Rustup(component), _, true) => components.push(component.to_owned()),
            (Origin::Debian(package), Some(_), _) => packages.push(package.to_owned()),
            (Origin::Node(package), ..) => node.push(package.to_owned()),
            (Origin::Rustup(component), ..) => {
                helpless.push(format!("{} is missing; install the Rust component {component}", tool.name));
            }
            (Origin::Debian(package), ..) => {
                helpless.push(format!("{} is missing; install it (on Debian: apt-get install {package})", tool.name));
            }
        }
    }
    if !helpless.is_empty() {
        return Err(helpless.join("\n"));
    }
    let words = |text: &str| text.split(' ').map(str::to_owned).collect::<Vec<_>>();
    if !components.is_empty() {
        commands.push([words("rustup component add"), components].concat());
    }
    if let Some(apt_get) = apt_get.filter(|_| !packages.is_empty()) {
        commands.push([apt_get.to_vec(), words("update")].concat());
        commands.push([apt_get.to_vec(), words("install --yes --no-install-recommends"), packages].concat());
    }
    // After Debian's packages, which may have brought npm itself.
    if !node.is_empty() {
        commands.push([words("npm install --prefix target/node --no-save"), node].concat());
    }
    Ok(commands)
}

/// How to call `apt-get` without being asked anything; `None` where that cannot be.
fn apt_get() -> Option<Vec<String>> {
    if !Path::new("/usr/bin/apt-get").exists() {
        return None;
    }
    if is_root() {
        Some(vec!["apt-get".to_owned()])
    } else if succeeds(&["sudo", "-n", "true"]) {
        Some(["sudo", "-n", "apt-get"].map(str::to_owned).to_vec())
    } else {
        None
    }
}

fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.trim_ascii() == b"0")
}

fn succeeds(command: &[&str]) -> bool {
    let status = Command::new(command[0])
        .args(&command[1..])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    status.is_ok_and(|status| status.success())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tools(names: &[&str]) -> Vec<&'static Tool> {
        TOOLS.iter().filter(|tool| names.contains(&tool.name)).collect()
    }

    #[test]
    fn what_is_missing_is_installed_in_one_go() {
        let apt_get = ["apt-get".to_owned()];
        let commands = installing(&tools(&["qpdf", "pdfinfo", "cargo fmt"]), Some(&apt_get), true).unwrap();
        let commands: Vec<String> = commands.iter().map(|command| command.join(" ")).collect();
        assert_eq!(
            commands,
            [
                "rustup component add rustfmt",
                "apt-get update",
                "apt-get install --yes --no-install-recommends poppler-utils qpdf",
            ]
        );
    }

    #[test]
    fn what_npm_brings_comes_after_npm_itself() {
        let apt_get = ["apt-get".to_owned()];
        let commands = installing(&tools(&["axe-core", "npm"]), Some(&apt_get), true).unwrap();
        let commands: Vec<String> = commands.iter().map(|command| command.join(" ")).collect();
        assert_eq!(commands.last().unwrap(), "npm install --prefix target/node --no-save axe-core@4");
        assert!(commands[1].ends_with(" npm"), "{commands:?}");
    }

    #[test]
    fn a_tool_that_cannot_be_installed_is_named_with_its_package() {
        let fault = installing(&tools(&["qpdf", "cargo clippy"]), None, false).unwrap_err();
        assert_eq!(
            fault,
            "cargo clippy is missing; install the Rust component clippy\n\
             qpdf is missing; install it (on Debian: apt-get install qpdf)"
        );
    }

    #[test]
    fn nothing_missing_installs_nothing() {
        assert_eq!(installing(&[], None, false), Ok(Vec::new()));
    }

    #[test]
    fn a_command_that_is_not_there_does_not_succeed() {
        assert!(!succeeds(&["darkline-no-such-command"]));
        assert!(succeeds(&["cargo", "--version"]));
    }
}
