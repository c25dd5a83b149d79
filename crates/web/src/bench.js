/* What scripts add at the bench: single-letter keys, and readings that come by themselves. Everything works without them. */
(() => {
  "use strict";
  const at = () => new Date().toTimeString().slice(0, 5);

  /* Keys: told under "?", switched off there, and never for anything that signs. */
  const places = { t: "/", o: "/orders", q: "/quality", a: "/trail", h: "/handbook", "?": "/keys" };
  const areOff = () => { try { return localStorage.getItem("darkline-keys") === "off"; } catch { return false; } };
  document.addEventListener("keydown", (event) => {
    const field = event.target.closest && event.target.closest("input, select, textarea");
    if (areOff() || field || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key === "/") {
      const find = document.getElementById("find");
      if (find) { event.preventDefault(); find.focus(); }
    } else if (event.key === "n") {
      const flags = [...document.querySelectorAll(".flag.stops")];
      const next = flags[(flags.indexOf(document.activeElement) + 1) % flags.length];
      if (next) { event.preventDefault(); next.focus(); next.scrollIntoView({ block: "nearest" }); }
    } else if (places[event.key]) {
      location.assign(places[event.key]);
    }
  });
  const toggle = document.getElementById("keys-off");
  if (toggle) {
    toggle.hidden = false;
    const say = () => { toggle.textContent = areOff() ? "Switch single-letter keys on" : "Switch single-letter keys off"; };
    toggle.addEventListener("click", () => { localStorage.setItem("darkline-keys", areOff() ? "on" : "off"); say(); });
    say();
  }

  const faults = document.querySelector(".summary");
  if (faults) faults.focus();

  /* A run that is going: new readings below, announced once; nothing moves under the pointer. */
  const live = document.getElementById("live");
  if (!live) return;
  const path = live.dataset.path;
  const heard = document.getElementById("heard");
  const paused = document.getElementById("paused");
  let readings = Number(live.dataset.readings);
  let news = null;
  let since = null;
  let asking = false;
  let again = false;

  const made = (text) => { const box = document.createElement("template"); box.innerHTML = text; return box.content; };
  const isBusy = (part) => part.contains(document.activeElement) || part.matches(":hover") && part.querySelector("details[open]");
  const put = (id, text) => {
    const part = document.getElementById(id);
    if (!part || part.dataset.text === text) return;
    if (part.contains(document.activeElement)) return;
    part.dataset.text = text;
    part.replaceChildren(made(text));
  };
  const pause = (why) => {
    since = since || at();
    paused.hidden = false;
    paused.textContent = `${why} since ${since}. What stands here is as it was then; what you fill in stays until it can be sent.`;
  };
  const goOn = () => { since = null; paused.hidden = true; };

  const look = async () => {
    if (asking) { again = true; return; }
    asking = true;
    try {
      const answer = await fetch(`${path}/since?reading=${readings}`, { headers: { accept: "application/json" }, cache: "no-store" });
      if (answer.status === 401) { if (news) news.close(); pause("Signed out"); return; }
      if (!answer.ok) { pause("Paused"); return; }
      const told = await answer.json();
      goOn();
      const body = document.querySelector("#table-readings tbody");
      if (told.rows && body) {
        document.querySelectorAll("tr.came").forEach((row) => row.classList.remove("came"));
        const rows = made(`<table><tbody>${told.rows}</tbody></table>`).querySelectorAll("tr");
        rows.forEach((row) => { if (!document.getElementById(row.id)) { row.classList.add("came"); body.append(row); } });
        const nothing = document.querySelector("#live-readings .nothing");
        if (nothing) nothing.remove();
        const count = document.querySelector("#table-readings-caption .count");
        if (count) count.textContent = `${told.readings} rows`;
      }
      readings = told.readings;
      put("now", told.now);
      put("trace-now", told.trace);
      const none = document.getElementById("no-flag");
      if (none && told.flags.length) none.remove();
      const flags = document.getElementById("flags");
      for (const flag of told.flags) {
        const known = document.getElementById(flag.id);
        if (!known) flags.append(made(flag.html));
        else if (known.dataset.state !== flag.state && !isBusy(known)) known.replaceWith(made(flag.html));
      }
      const standing = new Set(told.flags.map((flag) => flag.id));
      for (const known of flags.querySelectorAll(".flag")) {
        if (!standing.has(known.id) && !known.classList.contains("gone") && !isBusy(known)) {
          known.classList.add("gone");
          const acts = known.querySelector(".acts");
          if (acts) acts.textContent = "It no longer stands.";
        }
      }
      if (told.says) heard.textContent = told.says;
    } catch {
      pause("Paused");
    } finally {
      asking = false;
      if (again) { again = false; look(); }
    }
  };

  const listen = () => {
    news = new EventSource(`${path}/news`);
    news.addEventListener("news", look);
    news.addEventListener("signed-out", () => { news.close(); pause("Signed out"); });
    news.addEventListener("open", () => { if (since) look(); });
    news.addEventListener("error", () => pause("Paused"));
  };
  listen();
  window.addEventListener("pagehide", () => news && news.close());
  window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });

  /* While there is no connection an act stays where it was filled in. */
  document.addEventListener("submit", (event) => {
    if (!since || event.target.method !== "post") return;
    event.preventDefault();
    pause("Not sent: paused");
    paused.setAttribute("tabindex", "-1");
    paused.focus();
  });
})();
