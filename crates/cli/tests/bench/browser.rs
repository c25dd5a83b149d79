//! A browser that a test drives: Debian's Chromium through its driver, spoken to as the WebDriver standard says.
//!
//! Source: W3C WebDriver (2018); the driver's own commands for size, scripts switched off and print are Chromium's.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

/// The key of an element in the driver's answers.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";
/// How long anything on a page is waited for. A machine that builds meanwhile is slow.
const PATIENCE: Duration = Duration::from_secs(40);

/// Keys as the standard names them.
pub const ENTER: &str = "\u{e007}";
pub const TAB: &str = "\u{e004}";
pub const SPACE: &str = "\u{e00d}";

/// How the browser stands on the bench.
#[derive(Clone, Copy, Debug)]
pub struct Screen {
    pub width: u32,
    pub height: u32,
    pub is_touched: bool,
    pub runs_scripts: bool,
}

/// A screen at the bench.
pub const BENCH: Screen = Screen { width: 1200, height: 900, is_touched: false, runs_scripts: true };

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: TempDir,
}

impl Browser {
    /// Starts a browser; a test that lacks it fails.
    pub fn start(screen: Screen) -> Self {
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed by `cargo xtask test`");
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = lines
            .find_map(|line| line.unwrap().split("successfully on port ").nth(1)?.trim_end_matches('.').parse().ok())
            .expect("the driver says its port");
        // What it says later must not fill the pipe.
        std::thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().unwrap();
        let mut arguments: Vec<String> = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--hide-scrollbars",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
        ]
        .map(str::to_owned)
        .to_vec();
        arguments.push(format!("--user-data-dir={}", profile.path().display()));
        arguments.push(format!("--window-size={},{}", screen.width.max(500), screen.height));
        let mut options = json!({ "args": arguments });
        if screen.is_touched {
            options["mobileEmulation"] =
                json!({ "deviceMetrics": { "width": screen.width, "height": screen.height, "pixelRatio": 1.0 } });
        }
        let mut browser = Self { driver, port, session: String::new(), _profile: profile };
        let wanted = json!({ "capabilities": { "alwaysMatch": { "goog:chromeOptions": options } } });
        let begun = browser.call("POST", "/session", &wanted).unwrap();
        browser.session = format!("/session/{}", begun["sessionId"].as_str().unwrap());
        if !screen.runs_scripts {
            browser.own("Emulation.setScriptExecutionDisabled", &json!({ "value": true }));
        }
        browser
    }

    /// One command of the driver.
    fn call(&self, method: &str, path: &str, body: &Value) -> Result<Value, String> {
        let body = if method == "POST" { body.to_string() } else { String::new() };
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).map_err(|fault| fault.to_string())?;
        stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
        let head = format!(
            "{method} {path} HTTP/1.1\r\nhost: 127.0.0.1:{}\r\ncontent-type: application/json\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
            self.port,
            body.len()
        );
        stream.write_all(head.as_bytes()).map_err(|fault| fault.to_string())?;
        // The driver keeps the line open: the answer is as long as its head says.
        let (mut reader, mut length) = (BufReader::new(stream), 0);
        loop {
            let mut line = String::new();
            reader.read_line(&mut line).map_err(|fault| fault.to_string())?;
            let line = line.trim_end().to_ascii_lowercase();
            if line.is_empty() {
                break;
            }
            if let Some(n) = line.strip_prefix("content-length:") {
                length = n.trim().parse().map_err(|_| "no length")?;
            }
        }
        let mut body = vec![0; length];
        reader.read_exact(&mut body).map_err(|fault| fault.to_string())?;
        let body = &String::from_utf8_lossy(&body);
        let value: Value = serde_json::from_str(body).map_err(|fault| format!("{fault}: {body}"))?;
        match value["value"]["error"].as_str() {
            Some(error) => Err(format!("{error}: {}", value["value"]["message"])),
            None => Ok(value["value"].clone()),
        }
    }

    fn post(&self, path: &str, body: &Value) -> Result<Value, String> {
        self.call("POST", &format!("{}{path}", self.session), body)
    }

    /// A command of Chromium's own.
    fn own(&self, command: &str, parameters: &Value) -> Value {
        self.post("/goog/cdp/execute", &json!({ "cmd": command, "params": parameters })).unwrap()
    }

    /// Goes to an address.
    pub fn go(&self, address: &str) {
        self.post("/url", &json!({ "url": address })).unwrap();
    }

    /// Where it is.
    pub fn at(&self) -> String {
        self.call("GET", &format!("{}/url", self.session), &Value::Null).unwrap().as_str().unwrap().to_owned()
    }

    fn element(&self, selector: &str) -> Result<String, String> {
        let found = self.post("/element", &json!({ "using": "css selector", "value": selector }))?;
        Ok(found[ELEMENT].as_str().unwrap().to_owned())
    }

    /// Waits until something is so.
    pub fn wait<T>(&self, what: &str, mut look: impl FnMut() -> Option<T>) -> T {
        let began = Instant::now();
        loop {
            if let Some(found) = look() {
                return found;
            }
            assert!(began.elapsed() < PATIENCE, "waited for {what} at {}:\n{}", self.at(), self.text("main"));
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Whether something is on the page.
    pub fn has(&self, selector: &str) -> bool {
        self.element(selector).is_ok()
    }

    /// What something says.
    pub fn text(&self, selector: &str) -> String {
        let text = self
            .element(selector)
            .and_then(|element| self.call("GET", &format!("{}/element/{element}/text", self.session), &Value::Null));
        text.ok().and_then(|text| text.as_str().map(str::to_owned)).unwrap_or_default()
    }

    /// Types into something, as at a keyboard.
    pub fn type_into(&self, selector: &str, keys: &str) {
        let element = self.wait(selector, || self.element(selector).ok());
        self.post(&format!("/element/{element}/value"), &json!({ "text": keys })).unwrap();
    }

    /// Touches something.
    pub fn touch(&self, selector: &str) {
        let element = self.wait(selector, || self.element(selector).ok());
        self.post(&format!("/element/{element}/click"), &json!({})).unwrap();
    }

    /// Presses keys where the focus is.
    pub fn press(&self, keys: &str) {
        let actions: Vec<Value> = keys
            .chars()
            .flat_map(|key| [json!({ "type": "keyDown", "value": key }), json!({ "type": "keyUp", "value": key })])
            .collect();
        let keyboard = json!({ "actions": [{ "type": "key", "id": "keyboard", "actions": actions }] });
        self.post("/actions", &keyboard).unwrap();
    }

    /// Goes on with the tab key until the focus is on what is meant, as somebody without a mouse does, and presses a key there.
    pub fn tab_to(&self, selector: &str, key: &str) {
        let is_there =
            format!("return !!document.activeElement && document.activeElement.matches({});", json!(selector));
        for _ in 0..400 {
            if self.run(&is_there) == json!(true) {
                if !key.is_empty() {
                    self.press(key);
                }
                return;
            }
            self.press(TAB);
        }
        panic!("{selector} is not reached with the tab key at {}:\n{}", self.at(), self.text("main"));
    }

    /// Runs a script in the page and gives what it returns.
    pub fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({ "script": script, "args": [] })).unwrap()
    }

    /// What axe-core finds, in words; empty where everybody can use the page.
    pub fn barriers(&self) -> String {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../target/node/node_modules/axe-core/axe.min.js");
        let axe = std::fs::read_to_string(&file).expect("axe-core is installed by `cargo xtask test`");
        self.post("/execute/sync", &json!({ "script": axe, "args": [] })).unwrap();
        let script = "const done = arguments[arguments.length - 1]; axe.run(document).then(found => done(found.violations.map(\
                      one => one.id + ': ' + one.help + ' ' + one.nodes.map(node => node.html + ' ' + (node.any[0] || {}).message).slice(0, 3).join(' | ')).join('\\n')));";
        let found = self.post("/execute/async", &json!({ "script": script, "args": [] })).unwrap();
        found.as_str().unwrap().to_owned()
    }

    /// A picture of the page from its head down, at most so high.
    pub fn picture(&self, highest: u32) -> Vec<u8> {
        let metrics = self.own("Page.getLayoutMetrics", &json!({}));
        let size = |name: &str| metrics["cssContentSize"][name].as_f64().unwrap();
        let height = size("height").min(f64::from(highest));
        let clip = json!({ "x": 0, "y": 0, "width": size("width"), "height": height, "scale": 1 });
        let shot = json!({ "format": "webp", "quality": 60, "captureBeyondViewport": true, "clip": clip });
        from_base64(self.own("Page.captureScreenshot", &shot)["data"].as_str().unwrap())
    }

    /// The page on paper, as PDF.
    pub fn printed(&self) -> Vec<u8> {
        from_base64(self.own("Page.printToPDF", &json!({ "preferCSSPageSize": true }))["data"].as_str().unwrap())
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.call("DELETE", &self.session, &Value::Null);
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// RFC 4648, 4.
fn from_base64(text: &str) -> Vec<u8> {
    let value = |byte: u8| match byte {
        b'A'..=b'Z' => Some(byte - b'A'),
        b'a'..=b'z' => Some(byte - b'a' + 26),
        b'0'..=b'9' => Some(byte - b'0' + 52),
        b'+' => Some(62),
        b'/' => Some(63),
        _ => None,
    };
    let (mut bytes, mut bits, mut n) = (Vec::new(), 0_u32, 0);
    for six in text.bytes().filter_map(value) {
        (bits, n) = (bits << 6 | u32::from(six), n + 6);
        if n >= 8 {
            n -= 8;
            bytes.push((bits >> n & 0xff) as u8);
        }
    }
    bytes
}
