//! The front door: one request after the other is looked at, let through to its page or turned away, and answered.
//!
//! The order of the looks: how often this address asks, under which name, how and for what; who asks; for acts, whether a
//! page of ours sent them; whether a role has the right. Only then does a page see it, on a thread that may wait.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::header::{self, HeaderMap, HeaderValue};
use axum::http::{Method, Request, Response, StatusCode};
use darkline_audit_trail::people::may;
use darkline_laboratory::Laboratory;
use tokio_stream::wrappers::ReceiverStream;

use crate::answer::{Answer, Refused};
use crate::asked::{Asked, Fields, Twin, Viewer, escape};
use crate::desk::Desk;
use crate::frame::{self, Around};
use crate::rate::Takes;
use crate::route::{How, Route, Who, find_route};
use crate::session::is_same;

/// Where a request comes from.
#[derive(Clone, Copy, Debug)]
pub struct Peer(pub SocketAddr);

/// What a form may send at most; a page has no use for more.
const LARGEST_FORM: usize = 64 * 1024;
/// How long a form may take to arrive.
const FORM_PATIENCE: Duration = Duration::from_secs(15);
/// How often a live page hears that the connection stands.
const HEARTBEAT: Duration = Duration::from_secs(10);
/// Readings that come within this time are one piece of news.
const TOGETHER: Duration = Duration::from_millis(60);

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("bench.js");
const MARK: &str = include_str!("mark.svg");

/// Nothing but our own; no frame around us; nothing inline.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'";

struct Turned {
    refused: Refused,
    viewer: Option<Box<Viewer>>,
    asked: Option<(String, Twin)>,
}

impl From<Refused> for Turned {
    fn from(refused: Refused) -> Self {
        Self { refused, viewer: None, asked: None }
    }
}

impl Desk {
    /// Answers a request.
    pub async fn answer(self: Arc<Self>, request: Request<Body>) -> Response<Body> {
        let is_static = request.uri().path().starts_with("/static/");
        let mut response = match self.clone().looked_at(request).await {
            Ok(response) => response,
            Err(turned) => self.clone().turned_away(turned).await,
        };
        self.dress(response.headers_mut(), is_static);
        response
    }

    async fn looked_at(self: Arc<Self>, request: Request<Body>) -> Result<Response<Body>, Turned> {
        let from = request.extensions().get::<Peer>().map_or(IpAddr::from([127, 0, 0, 1]), |peer| peer.0.ip());
        self.take(from, Takes::APage)?;
        self.is_our_name(request.headers(), request.uri().host())?;
        let how = match *request.method() {
            Method::GET | Method::HEAD => How::Get,
            Method::POST => How::Post,
            _ => {
                return Err(
                    Refused::new(405, "pages are read or forms are sent, nothing else", "Use the pages.").into()
                );
            }
        };
        let (raw, query) = (request.uri().path().to_owned(), Fields::read(request.uri().query().unwrap_or_default()));
        if raw.len() > 2000 || request.uri().query().is_some_and(|query| query.len() > 8000) {
            return Err(Refused::new(414, "this address is too long", "Use a link of a page.").into());
        }
        if let Some(response) = static_file(&raw) {
            return Ok(response);
        }
        let (path, twin) = match (raw.strip_suffix(".json"), raw.strip_suffix(".csv")) {
            (Some(path), _) => (path.to_owned(), Twin::Json),
            (_, Some(path)) => (path.to_owned(), Twin::Csv),
            _ => (raw, Twin::Page),
        };
        let (route, parts) = find_route(how, &path).map_err(|other_way| match other_way {
            true => Refused::new(405, "this address does something else than that", "Use the pages."),
            false => Refused::no_page("nothing stands at this address"),
        })?;
        let headers = request.headers().clone();
        let form = match how {
            How::Get => Fields::default(),
            How::Post => {
                if let Err(refused) = comes_from_us(&headers) {
                    let _ = self.write_down(from, None, "refused: not sent by a page of ours", &path);
                    return Err(refused.into());
                }
                form_of(request).await?
            }
        };
        let asked = Asked { path, parts, query, form, twin, viewer: None, from };
        self.on_a_thread(route, asked, headers).await
    }

    async fn on_a_thread(
        self: Arc<Self>,
        route: &'static Route,
        asked: Asked,
        headers: HeaderMap,
    ) -> Result<Response<Body>, Turned> {
        let desk = self.clone();
        let answered = tokio::task::spawn_blocking(move || desk.pass(route, asked, &headers)).await;
        match answered {
            Ok(Ok((Answer::News, asked))) => Ok(self.news_of(asked.viewer().session)),
            Ok(Ok((answer, asked))) => {
                let desk = self.clone();
                let shown = tokio::task::spawn_blocking(move || desk.shown(answer, &asked)).await;
                shown.unwrap_or_else(|_| Err(Refused::fault())).map_err(Turned::from)
            }
            Ok(Err(turned)) => Err(turned),
            // A thread that panicked: the fault is told on standard error already.
            Err(_) => Err(Refused::fault().into()),
        }
    }

    /// Asks who it is and whether they may, then lets the page answer.
    fn pass(&self, route: &Route, mut asked: Asked, headers: &HeaderMap) -> Result<(Answer, Asked), Turned> {
        asked.viewer = self.viewer(headers, route.is_use)?;
        let turned = |refused: Refused, asked: &Asked| Turned {
            refused,
            viewer: asked.viewer.clone().map(Box::new),
            asked: Some((asked.path.clone(), asked.twin)),
        };
        if route.who != Who::Anybody {
            let Some(viewer) = &asked.viewer else {
                let to = if asked.path == "/" { String::new() } else { format!("?to={}", escape(&asked.path)) };
                if route.how == How::Get && asked.twin == Twin::Page && route.is_use {
                    return Ok((Answer::Go(format!("/sign-in{to}")), asked));
                }
                let refused = Refused::new(401, "nobody is signed in here any more", "Sign in, then send it again.");
                return Err(turned(refused, &asked));
            };
            if route.how == How::Post && !is_same(asked.form.get("form-token"), &viewer.form_token) {
                let name = viewer.id().to_string();
                let _ =
                    self.write_down(asked.from, Some(&name), "refused: the form is of another sign-in", &asked.path);
                let says = "this form comes from another sign-in; nothing was changed";
                return Err(turned(Refused::new(403, says, "Open the page again and send it from there."), &asked));
            }
            if let Who::With(verbs) = route.who
                && let Err(refusal) = has_one_of(viewer, verbs)
            {
                let name = viewer.id().to_string();
                let _ = self.write_down(asked.from, Some(&name), &format!("refused: {refusal}"), &asked.path);
                return Err(turned(refusal, &asked));
            }
        }
        match (route.page)(self, &asked) {
            Ok(answer) => Ok((answer, asked)),
            Err(refused) => {
                if refused.status == 403 {
                    let name = asked.viewer.as_ref().map(|viewer| viewer.id().to_string());
                    let _ = self.write_down(asked.from, name.as_deref(), &format!("refused: {refused}"), &asked.path);
                }
                Err(turned(refused, &asked))
            }
        }
    }

    /// Who is signed in, with the rights they have at this moment.
    fn viewer(&self, headers: &HeaderMap, is_use: bool) -> Result<Option<Viewer>, Refused> {
        let Some(token) = cookie(headers, self.cookie_name()) else { return Ok(None) };
        let Some(session) = self.sessions().find(&token, self.now(), self.settings.lasts, is_use) else {
            return Ok(None);
        };
        let laboratory = self.laboratory()?;
        match laboratory.state().people.get(&session.person) {
            Some(person) if !person.disabled => {
                Ok(Some(Viewer { person: person.clone(), form_token: session.form_token, session: session.number }))
            }
            _ => {
                drop(laboratory);
                self.sessions().end(session.number);
                Ok(None)
            }
        }
    }

    fn cookie_name(&self) -> &'static str {
        // Browsers take the prefix only together with Secure, and some take Secure only over TLS.
        if self.settings.over_tls { "__Host-darkline" } else { "darkline" }
    }

    fn cookie(&self, token: &str, lasts_s: u64) -> String {
        let secure = if self.settings.over_tls { "; Secure" } else { "" };
        format!("{}={token}; Path=/; Max-Age={lasts_s}; HttpOnly; SameSite=Strict{secure}", self.cookie_name())
    }

    fn is_our_name(&self, headers: &HeaderMap, in_address: Option<&str>) -> Result<(), Refused> {
        let host = in_address
            .map(str::to_owned)
            .or_else(|| headers.get(header::HOST).and_then(|host| host.to_str().ok()).map(str::to_owned))
            .unwrap_or_default();
        let name = without_port(&host).to_ascii_lowercase();
        let is_figures = name.trim_start_matches('[').trim_end_matches(']').parse::<IpAddr>();
        // A name that somebody else has pointed at this machine is not ours; figures cannot be pointed anywhere.
        let is_ours = match is_figures {
            Ok(address) => !self.settings.is_loopback || address.is_loopback(),
            Err(_) => name == "localhost" || self.settings.names.iter().any(|known| known.eq_ignore_ascii_case(&name)),
        };
        if is_ours {
            return Ok(());
        }
        let name: String = name.chars().take(80).collect();
        Err(Refused::new(
            421,
            format!("these pages are not known under the name \"{name}\""),
            "Use the address that was shown when serving began, or begin it with --name.",
        ))
    }

    fn dress(&self, headers: &mut HeaderMap, is_static: bool) {
        let mut put = |name: &'static str, value: &'static str| {
            headers.insert(name, HeaderValue::from_static(value));
        };
        put("content-security-policy", POLICY);
        put("x-content-type-options", "nosniff");
        put("referrer-policy", "same-origin");
        put("cross-origin-opener-policy", "same-origin");
        put("cross-origin-resource-policy", "same-origin");
        put("x-frame-options", "DENY");
        put("permissions-policy", "camera=(), microphone=(), geolocation=(), payment=(), usb=()");
        if self.settings.over_tls && !self.settings.is_loopback {
            put("strict-transport-security", "max-age=31536000");
        }
        if !is_static {
            put("cache-control", "no-store");
        }
    }

    /// An answer as it goes out.
    fn shown(&self, answer: Answer, asked: &Asked) -> Result<Response<Body>, Refused> {
        match answer {
            Answer::Page(page) => {
                let status = if page.faults.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
                match asked.twin {
                    Twin::Json => Ok(of_kind(status, "application/json", page.json().to_string().into_bytes())),
                    Twin::Csv => {
                        let text = page.csv(asked.query.get("table"));
                        Ok(of_kind(status, "text/csv; charset=utf-8", text.into_bytes()))
                    }
                    Twin::Page => {
                        let laboratory = self.laboratory()?;
                        let (name, stand) = (called(&laboratory), stand_of(&laboratory));
                        drop(laboratory);
                        let around = self.around(&name, &stand, asked.viewer.as_ref(), &asked.path, &asked.query);
                        Ok(html(status, frame::framed(&page, &around).into_string()))
                    }
                }
            }
            Answer::Go(to) => Ok(gone_to(&to)),
            Answer::File { kind, bytes, name } => {
                let mut response = of_kind(StatusCode::OK, kind, bytes);
                let headers = response.headers_mut();
                if let Some(name) = name {
                    let name: String =
                        name.chars().filter(|c| c.is_ascii_alphanumeric() || "-_.".contains(*c)).collect();
                    let disposition = format!("attachment; filename=\"{name}\"");
                    headers.insert(
                        header::CONTENT_DISPOSITION,
                        HeaderValue::from_str(&disposition).expect("letters alone"),
                    );
                }
                Ok(response)
            }
            Answer::SignedIn { token, to } => {
                let mut response = gone_to(&to);
                let cookie = self.cookie(&token, self.settings.lasts.whole_s);
                response
                    .headers_mut()
                    .insert(header::SET_COOKIE, HeaderValue::from_str(&cookie).expect("letters alone"));
                Ok(response)
            }
            Answer::SignedOut => {
                let mut response = gone_to("/sign-in");
                let cookie = self.cookie("", 0);
                response
                    .headers_mut()
                    .insert(header::SET_COOKIE, HeaderValue::from_str(&cookie).expect("letters alone"));
                Ok(response)
            }
            Answer::News => Err(Refused::fault()),
        }
    }

    fn around<'a>(
        &self,
        laboratory: &'a str,
        stand: &'a str,
        viewer: Option<&'a Viewer>,
        path: &'a str,
        query: &'a Fields,
    ) -> Around<'a> {
        Around { laboratory, viewer, path, query, version: version(), stand }
    }

    async fn turned_away(self: Arc<Self>, turned: Turned) -> Response<Body> {
        let status = StatusCode::from_u16(turned.refused.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let (path, twin) = turned.asked.unwrap_or_else(|| (String::new(), Twin::Page));
        if twin != Twin::Page {
            let told = serde_json::json!({ "schema": "darkline/refused/1", "says": turned.refused.says, "next": turned.refused.next });
            return of_kind(status, "application/json", told.to_string().into_bytes());
        }
        let desk = self.clone();
        // The name of the laboratory may have to be read from a disk that hangs; the page goes out without it then.
        let name = tokio::task::spawn_blocking(move || desk.laboratory().map(|laboratory| called(&laboratory)));
        let name = name.await.ok().and_then(Result::ok).unwrap_or_else(|| "Darkline".into());
        let query = Fields::default();
        let around = self.around(&name, "", turned.viewer.as_deref(), &path, &query);
        html(status, frame::refused(&turned.refused, &around).into_string())
    }

    /// News as they come, until the page goes away or the sign-in ends.
    fn news_of(self: &Arc<Self>, session: u64) -> Response<Body> {
        let (sender, receiver) = tokio::sync::mpsc::channel::<Result<Bytes, std::convert::Infallible>>(1);
        let desk = self.clone();
        let mut size = self.news();
        tokio::spawn(async move {
            let mut event = Some(format!("retry: 2000\nevent: news\ndata: {}\n\n", *size.borrow_and_update()));
            loop {
                if !desk.sessions().lasts(session, desk.now(), desk.settings.lasts) {
                    event = Some("event: signed-out\ndata: \n\n".into());
                }
                let is_last = event.as_ref().is_some_and(|event| event.starts_with("event: signed-out"));
                let text = event.take().unwrap_or_else(|| ": here\n\n".into());
                if sender.send(Ok(Bytes::from(text))).await.is_err() || is_last {
                    return;
                }
                match tokio::time::timeout(HEARTBEAT, size.changed()).await {
                    Ok(Ok(())) => {
                        tokio::time::sleep(TOGETHER).await;
                        event = Some(format!("event: news\ndata: {}\n\n", *size.borrow_and_update()));
                    }
                    Ok(Err(_)) => return,
                    Err(_) => {}
                }
            }
        });
        let mut response = Response::new(Body::from_stream(ReceiverStream::new(receiver)));
        response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("text/event-stream"));
        response
    }
}

/// What the laboratory is called.
fn called(laboratory: &Laboratory) -> String {
    laboratory.state().laboratory.as_ref().map_or_else(|| "Darkline".to_owned(), |(name, _)| name.clone())
}

/// Time and root of the record, for paper.
fn stand_of(laboratory: &Laboratory) -> String {
    let state = laboratory.state();
    let at = state.last_at.as_ref().map_or_else(String::new, |at| format!(", last at {at}"));
    let root = laboratory.root().map_or_else(|_| String::new(), |(_, root)| root.to_string());
    format!("{} entries{at}, root {}", state.n_entries, root.chars().take(12).collect::<String>())
}

fn has_one_of(viewer: &Viewer, verbs: &'static [darkline_audit_trail::people::Verb]) -> Result<(), Refused> {
    use darkline_audit_trail::people::{Refusal, Relation};
    let has = |verb| viewer.person.roles.iter().any(|role| may(*role, verb, &Relation::Unrelated).is_ok());
    if verbs.iter().any(|verb| has(*verb)) {
        return Ok(());
    }
    let verb = *verbs.first().expect("a route names the rights it asks for");
    Err(Refused::new(403, Refusal::NoRole { verb }.to_string(), "Somebody with the right has to do it."))
}

/// Whether a browser says that a page of ours sent this.
///
/// Source: `reference/records/README.md`, pack of sign-in, item csrf-token.
fn comes_from_us(headers: &HeaderMap) -> Result<(), Refused> {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let is_ours = match (text("sec-fetch-site"), text("origin")) {
        (Some(site), _) => site == "same-origin",
        (None, Some(origin)) => {
            let host = text("host").unwrap_or_default();
            !host.is_empty() && origin.split_once("://").is_some_and(|(_, from)| from.eq_ignore_ascii_case(host))
        }
        (None, None) => false,
    };
    if is_ours {
        Ok(())
    } else {
        Err(Refused::new(403, "this was not sent by a page of these", "Open the page here and send it from there."))
    }
}

async fn form_of(request: Request<Body>) -> Result<Fields, Refused> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    if !kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/x-www-form-urlencoded"))
    {
        return Err(Refused::new(415, "what was sent is no form", "Send the form of a page."));
    }
    let body = axum::body::to_bytes(request.into_body(), LARGEST_FORM);
    match tokio::time::timeout(FORM_PATIENCE, body).await {
        Ok(Ok(bytes)) => Ok(Fields::read(&String::from_utf8_lossy(&bytes))),
        Ok(Err(_)) => Err(Refused::new(413, "what was sent is more than 64 kB, or it broke off", "Send less.")),
        Err(_) => Err(Refused::new(408, "what was sent took longer than 15 s to arrive", "Send it again.")),
    }
}

fn without_port(host: &str) -> &str {
    match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) && !name.ends_with(':') => name,
        _ => host,
    }
}

fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let all = headers.get_all(header::COOKIE);
    let mut pairs = all.iter().filter_map(|value| value.to_str().ok()).flat_map(|value| value.split(';'));
    pairs.find_map(|pair| Some(pair.trim().strip_prefix(name)?.strip_prefix('=')?.to_owned()))
}

fn of_kind(status: StatusCode, kind: &'static str, bytes: Vec<u8>) -> Response<Body> {
    let mut response = Response::new(Body::from(bytes));
    *response.status_mut() = status;
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    response
}

fn html(status: StatusCode, text: String) -> Response<Body> {
    of_kind(status, "text/html; charset=utf-8", text.into_bytes())
}

fn gone_to(to: &str) -> Response<Body> {
    let mut response = html(StatusCode::SEE_OTHER, String::new());
    // An address that no header can hold leads to the start page.
    let to = HeaderValue::from_str(to).unwrap_or_else(|_| HeaderValue::from_static("/"));
    response.headers_mut().insert(header::LOCATION, to);
    response
}

/// Tells one version of style and script from another.
fn version() -> &'static str {
    static VERSION: std::sync::OnceLock<String> = std::sync::OnceLock::new();
    VERSION.get_or_init(|| {
        let digest = darkline_record::canonical::Digest::of(format!("{STYLE}{SCRIPT}{MARK}").as_bytes());
        digest.to_string().chars().take(12).collect()
    })
}

fn static_file(path: &str) -> Option<Response<Body>> {
    let (kind, text) = match path {
        "/static/style.css" => ("text/css; charset=utf-8", STYLE),
        "/static/bench.js" => ("text/javascript; charset=utf-8", SCRIPT),
        "/static/mark.svg" => ("image/svg+xml", MARK),
        _ => return None,
    };
    let mut response = of_kind(StatusCode::OK, kind, text.as_bytes().to_vec());
    // Its address names its version.
    let keeps = HeaderValue::from_static("private, max-age=31536000, immutable");
    response.headers_mut().insert(header::CACHE_CONTROL, keeps);
    Some(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &'static str)]) -> HeaderMap {
        pairs
            .iter()
            .map(|(name, value)| (header::HeaderName::from_static(name), HeaderValue::from_static(value)))
            .collect()
    }

    #[test]
    fn only_a_page_of_ours_sends_forms() {
        for (pairs, is_ours) in [
            (&[("sec-fetch-site", "same-origin")][..], true),
            (&[("sec-fetch-site", "same-site")], false),
            (&[("sec-fetch-site", "cross-site")], false),
            (&[("sec-fetch-site", "none")], false),
            (
                &[("sec-fetch-site", "cross-site"), ("origin", "http://localhost:7878"), ("host", "localhost:7878")],
                false,
            ),
            (&[("origin", "http://localhost:7878"), ("host", "localhost:7878")], true),
            (&[("origin", "http://localhost:7879"), ("host", "localhost:7878")], false),
            (&[("origin", "null"), ("host", "localhost:7878")], false),
            (&[("origin", "http://localhost:7878")], false),
            (&[], false),
        ] {
            assert_eq!(comes_from_us(&headers(pairs)).is_ok(), is_ours, "{pairs:?}");
        }
    }

    #[test]
    fn a_name_is_told_from_its_port() {
        for (host, name) in [
            ("localhost:7878", "localhost"),
            ("localhost", "localhost"),
            ("127.0.0.1:80", "127.0.0.1"),
            ("[::1]:7878", "[::1]"),
            ("[::1]", "[::1]"),
        ] {
            assert_eq!(without_port(host), name);
        }
    }

    #[test]
    fn a_cookie_is_found_among_others() {
        let found = |text: &'static str| cookie(&headers(&[("cookie", text)]), "darkline");
        assert_eq!(found("a=b; darkline=00ff; c=d").as_deref(), Some("00ff"));
        assert_eq!(found("xdarkline=00ff"), None);
        assert_eq!(found("darkline2=00ff"), None);
    }
}
