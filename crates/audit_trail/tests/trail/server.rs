//! A PostgreSQL server of these tests: made in a folder of its own, started, cut off, killed, started again, stopped.
//!
//! The programs `initdb` and `postgres` (15 or later) must be there, on the path or where Debian puts them; a test that
//! needs them fails without, and says which package brings them. PostgreSQL does not run as root: where the tests do,
//! the server runs as `nobody`.
//!
//! A shell stands between the tests and the server and waits for the end of its input: when the tests end, however they
//! end, it stops the server and removes the folder.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::os::unix::fs::{PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::str::FromStr;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock};
use std::time::{Duration, Instant};

use darkline_audit_trail::Address;
use postgres::{Client, NoTls};

/// `nobody` and `nogroup` on Debian, and where not, two numbers as good as any.
const NOBODY: u32 = 65534;

/// A server with a folder of its own.
pub struct Server {
    folder: PathBuf,
    programs: PathBuf,
    pub port: u16,
    options: Vec<String>,
    keeper: Mutex<Option<Child>>,
}

/// The server that all tests of this program share.
pub fn shared() -> &'static Server {
    static SHARED: OnceLock<Server> = OnceLock::new();
    SHARED.get_or_init(|| Server::start(&[]))
}

impl Server {
    /// Makes and starts a server with further settings, each like `ssl=on`.
    pub fn start(settings: &[&str]) -> Self {
        let programs = programs();
        let folder = tempfile::Builder::new().prefix("pg").tempdir().unwrap().keep();
        let as_root = is_root();
        if as_root {
            chown(&folder, Some(NOBODY), Some(NOBODY)).unwrap();
        }
        std::fs::set_permissions(&folder, std::fs::Permissions::from_mode(0o700)).unwrap();
        let made = as_nobody(Command::new(programs.join("initdb")), as_root)
            .args(["--pgdata", "data", "--username", "laboratory", "--auth", "trust"])
            .args(["--encoding", "UTF8", "--locale", "C", "--no-sync"])
            .current_dir(&folder)
            .stdin(Stdio::null())
            .output()
            .unwrap();
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let options = settings.iter().flat_map(|setting| ["-c".to_owned(), (*setting).to_owned()]).collect();
        let server = Self { folder, programs, port, options, keeper: Mutex::new(None) };
        server.run();
        server
    }

    /// The folder of the server, for files it should read.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Starts it, or starts it again, and waits until it answers.
    pub fn run(&self) {
        // While this file is there, the end of a server does not take its folder away.
        let keep = self.folder.join("keep");
        std::fs::write(&keep, "").unwrap();
        // A server that was killed leaves processes that end a moment later; the new one does not start before.
        for _ in 0..50 {
            let mut keeper = self.keep();
            let began = Instant::now();
            while began.elapsed() < Duration::from_secs(60) {
                if self.try_client("postgres").is_some() {
                    *self.keeper.lock().unwrap() = Some(keeper);
                    std::fs::remove_file(&keep).unwrap();
                    return;
                }
                if keeper.try_wait().unwrap().is_some() {
                    break;
                }
                std::thread::sleep(Duration::from_millis(30));
            }
            drop(keeper.stdin.take());
            keeper.wait().unwrap();
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("the server does not start: {}", std::fs::read_to_string(self.folder.join("said")).unwrap());
    }

    fn keep(&self) -> Child {
        // 3 (SIGQUIT) ends at once; the folder goes anyway.
        let script = "exec 3<&0; \"$@\" </dev/null 3<&- >>said 2>&1 & server=$!
            (cat <&3 >/dev/null; kill -3 $server) & stopper=$!
            wait $server; kill $stopper 2>/dev/null; [ -e keep ] || rm -rf \"$PWD\"";
        as_nobody(Command::new("sh"), is_root())
            .args(["-c", script, "sh"])
            .arg(self.programs.join("postgres"))
            .args(["-D", "data", "-p", &self.port.to_string(), "-k", self.folder.to_str().unwrap()])
            .args(["-c", "listen_addresses=127.0.0.1", "-c", "max_connections=200", "-c", "shared_buffers=16MB"])
            .args(&self.options)
            .current_dir(&self.folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap()
    }

    /// Kills the server with the signal that cannot be caught: no process of it gets to write anything any more.
    pub fn kill_and_run_again(&self) {
        let pid = std::fs::read_to_string(self.folder.join("data/postmaster.pid")).unwrap();
        let pid = pid.lines().next().unwrap();
        std::fs::write(self.folder.join("keep"), "").unwrap();
        let children = Command::new("sh")
            .args(["-c", &format!("for p in /proc/[0-9]*; do read -r a < $p/stat && set -- $a && [ \"$4\" = {pid} ] && echo $1; done 2>/dev/null")])
            .output()
            .unwrap();
        let children = String::from_utf8_lossy(&children.stdout).into_owned();
        let all: Vec<&str> = std::iter::once(pid).chain(children.split_whitespace()).collect();
        assert!(Command::new("kill").arg("-9").args(&all).stderr(Stdio::null()).status().is_ok());
        let keeper = self.keeper.lock().unwrap().take();
        drop(keeper.map(|mut keeper| keeper.wait()));
        self.run();
    }

    /// A new empty database; its name.
    pub fn database(&self) -> String {
        static NUMBER: AtomicU64 = AtomicU64::new(0);
        let name = format!("record_{}", NUMBER.fetch_add(1, Ordering::Relaxed));
        self.client("postgres").batch_execute(&format!("CREATE DATABASE {name}")).unwrap();
        name
    }

    /// The address of a database of this server.
    pub fn address(&self, database: &str) -> String {
        format!("postgresql://laboratory@127.0.0.1:{}/{database}", self.port)
    }

    /// The address of a database, by the socket in the folder.
    pub fn address_by_socket(&self, database: &str) -> String {
        let folder = self.folder.to_str().unwrap().replace('/', "%2F");
        format!("postgresql://laboratory@{folder}:{}/{database}", self.port)
    }

    /// Another program's connection.
    pub fn client(&self, database: &str) -> Client {
        self.try_client(database).expect("the server answers")
    }

    fn try_client(&self, database: &str) -> Option<Client> {
        Client::connect(&self.address(database), NoTls).ok()
    }
}

/// Reads an address that is known to be one.
pub fn address(text: &str) -> Address {
    Address::from_str(text).unwrap()
}

fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.trim_ascii() == b"0")
}

fn as_nobody(mut command: Command, as_root: bool) -> Command {
    if as_root {
        command.uid(NOBODY).gid(NOBODY);
    }
    command.env_remove("PGDATA").env("LC_ALL", "C");
    command
}

/// The folder with `initdb` and `postgres`: on the path, or the newest one where Debian keeps them.
fn programs() -> PathBuf {
    let on_path = std::env::var_os("PATH").unwrap_or_default();
    let mut folders: Vec<PathBuf> = std::env::split_paths(&on_path).collect();
    if let Ok(versions) = std::fs::read_dir("/usr/lib/postgresql") {
        let mut versions: Vec<PathBuf> = versions.flatten().map(|version| version.path()).collect();
        versions.sort_by_key(|path| path.file_name().and_then(|name| name.to_str()?.parse::<u32>().ok()));
        folders.extend(versions.iter().rev().map(|version| version.join("bin")));
    }
    folders.into_iter().find(|folder| folder.join("initdb").exists() && folder.join("postgres").exists()).expect(
        "these tests need the programs initdb and postgres, 15 or later (on Debian: apt-get install postgresql)",
    )
}

/// A line between a store and the server that a test can cut.
pub struct Wire {
    pub port: u16,
    up: Arc<AtomicBool>,
    lines: Arc<Mutex<Vec<TcpStream>>>,
    /// After so many bytes from the server the line is cut; none while it is zero.
    cut_after: Arc<AtomicU64>,
}

impl Wire {
    /// A line to a port of this machine.
    pub fn to(port: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let wire = Self {
            port: listener.local_addr().unwrap().port(),
            up: Arc::new(AtomicBool::new(true)),
            lines: Arc::default(),
            cut_after: Arc::default(),
        };
        let (up, lines, cut_after) = (wire.up.clone(), wire.lines.clone(), wire.cut_after.clone());
        std::thread::spawn(move || {
            for near in listener.incoming().flatten() {
                let Ok(far) = TcpStream::connect(("127.0.0.1", port)) else { continue };
                if !up.load(Ordering::SeqCst) {
                    continue;
                }
                near.set_nodelay(true).unwrap();
                far.set_nodelay(true).unwrap();
                lines.lock().unwrap().extend([near.try_clone().unwrap(), far.try_clone().unwrap()]);
                let (to_far, to_near) = (far.try_clone().unwrap(), near.try_clone().unwrap());
                std::thread::spawn(move || carry(near, to_far, &AtomicU64::new(0)));
                let cut_after = cut_after.clone();
                std::thread::spawn(move || carry(far, to_near, &cut_after));
            }
        });
        wire
    }

    /// Cuts every line; new ones are refused until [`Wire::mend`].
    pub fn cut(&self) {
        self.up.store(false, Ordering::SeqCst);
        for line in self.lines.lock().unwrap().drain(..) {
            let _ = line.shutdown(Shutdown::Both);
        }
    }

    /// Lets new lines through.
    pub fn mend(&self) {
        self.up.store(true, Ordering::SeqCst);
    }

    /// Cuts the line in the middle of an answer, so many bytes from now; new lines are let through.
    pub fn cut_after(&self, n_bytes: u64) {
        self.cut_after.store(n_bytes, Ordering::SeqCst);
    }
}

fn carry(mut from: TcpStream, mut to: TcpStream, cut_after: &AtomicU64) {
    let mut buffer = [0; 4096];
    while let Ok(n @ 1..) = from.read(&mut buffer) {
        let left = cut_after.load(Ordering::SeqCst);
        if left > 0 && left <= n as u64 {
            cut_after.store(0, Ordering::SeqCst);
            break;
        }
        if left > 0 {
            cut_after.store(left - n as u64, Ordering::SeqCst);
        }
        if to.write_all(&buffer[..n]).is_err() {
            break;
        }
    }
    let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
}
