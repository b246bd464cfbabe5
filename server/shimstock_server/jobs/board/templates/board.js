"use strict";
const EVERY = 5000, PATIENCE = 10000, WALL = matchMedia("(min-width: 1000px) and (min-height: 500px)");
const root = document.documentElement;
const at = (id) => document.getElementById(id);
let tag = null, zone = "UTC", answered = null, offset = 0, summary = "", shown = null, whole = false;

const now = () => new Date(Date.now() + offset);
const format = (options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options });
const dayOf = (instant) => format({ year: "numeric", month: "2-digit", day: "2-digit" }).format(instant);
const clockOf = (instant) => format({ hour: "2-digit", minute: "2-digit" }).format(instant);
const weekday = (instant) => format({ weekday: "short" }).format(instant);

function moment(text) {
  const instant = new Date(text);
  return dayOf(instant) === dayOf(now()) ? clockOf(instant) : `${weekday(instant)} ${clockOf(instant)}`;
}

function calendarDay(text, options = { weekday: "short", day: "numeric", month: "short" }) {
  const day = new Date(`${text}T12:00:00Z`);
  return new Intl.DateTimeFormat("en-GB", { timeZone: "UTC", ...options }).format(day).replace(",", "");
}
const shortDay = (text) => calendarDay(text, { day: "numeric", month: "short" });

function make(name, text, className) {
  const element = document.createElement(name);
  if (text instanceof Node) element.append(text);
  else if (text !== null && text !== undefined) element.textContent = text;
  if (className) element.className = className;
  return element;
}

const mark = (text, kind) => make("span", text, `mark ${kind}`);
const ticket = (job, name = "td") => {
  const cell = make(name, `${job.number}`, "ticket");
  if (name === "th") cell.scope = "row";
  return cell;
};
const instrument = (job) => {
  if (job.model === null) return make("td", "no instrument yet", "none");
  const cell = make("td", `${job.model} `, "what");
  cell.append(make("span", job.maker, "maker"));
  return cell;
};

/* On the wall a first name is enough, unless two technicians share it. */
let names = new Set();
const firstName = (name) => name.split(" ")[0];
const technician = (job) => {
  if (job.technician === null) return make("td", "");
  const alike = [...names].filter((name) => firstName(name) === firstName(job.technician));
  return make("td", alike.length > 1 ? job.technician : firstName(job.technician));
};

function promised(job) {
  if (job.promise === "late") return mark(`late ${shortDay(job.promised_on)}`, "late");
  if (job.promise === "today") return mark("today", "today");
  return job.promised_on === null ? "" : calendarDay(job.promised_on);
}

function settles(job) {
  return job.due ? mark(`due since ${moment(job.due_since)}`, "due") : `until ${moment(job.available_at)}`;
}

function where(job) {
  const words = { received: "checked in", queued: "in the queue", "final-check": "final check" };
  if (job.state === "on-bench") return job.bench === null ? "on a bench" : job.bench;
  if (job.state === "settling") return job.due ? "settled, due" : `until ${moment(job.available_at)}`;
  if (job.state === "waiting") return `waits for ${job.waiting_for}`;
  return words[job.state] ?? job.state;
}

function held(job) {
  if (job.stale) return mark(`left ${weekday(new Date(job.since))}`, "late");
  if (job.state === "final-check") return "final check";
  return `since ${moment(job.since)}`;
}

function needs(job) {
  const parts = job.skills.map((skill) => skill.replaceAll("-", " "));
  if (job.priority > 5) parts.unshift(`priority ${job.priority}`);
  return parts.join(", ");
}

function row(...cells) {
  const line = document.createElement("tr");
  line.append(...cells);
  return line;
}

function first(text) {
  const cell = make("th", text);
  cell.scope = "row";
  return cell;
}

function benchRows(benches) {
  return benches.flatMap((bench) => {
    const name = bench.bench ?? "away from a bench";
    if (bench.jobs.length) {
      return bench.jobs.map((job) =>
        row(first(name), ticket(job), instrument(job), technician(job), make("td", held(job))));
    }
    const free = make("td", "free", "none");
    free.colSpan = 4;
    return [row(first(name), free)];
  });
}

function fill(id, rows, count, empty) {
  const body = at(id), columns = body.parentElement.tHead.rows[0].cells.length;
  if (!rows.length) {
    const cell = make("td", empty, "none");
    cell.colSpan = columns;
    rows = [row(cell)];
  }
  body.replaceChildren(...rows);
  body.closest("section").querySelector(".count").textContent = count ? `(${count})` : "";
}

function show(board) {
  zone = board.shop.zone;
  tick();
  const held = board.benches.reduce((sum, bench) => sum + bench.jobs.length, 0);
  const everything = [board.benches.flatMap((bench) => bench.jobs), board.settling, board.promised].flat();
  names = new Set(everything.map((job) => job.technician).filter((name) => name !== null));
  const apart = [...board.waiting, ...board.received];
  document.title = `Board of ${board.shop.name}`;
  at("shop").textContent = board.shop.name;
  at("day").textContent = calendarDay(board.day);
  at("ready").textContent = board.counts.ready ? `${board.counts.ready} ready to collect` : "";
  fill("benches", benchRows(board.benches), held, "The shop has no bench yet.");
  fill("settling", board.settling.map((job) =>
    row(make("td", settles(job)), ticket(job, "th"), instrument(job), technician(job))),
    board.settling.length, "Nothing settles.");
  fill("promised", board.promised.map((job) =>
    row(make("td", promised(job)), ticket(job, "th"), instrument(job), make("td", where(job)))),
    board.promised.length, "Nothing is promised for today, and nothing is late.");
  fill("queue", board.queue.map((job) =>
    row(ticket(job, "th"), instrument(job), make("td", needs(job), "needs"), make("td", promised(job)))),
    board.counts.queued, "The queue is empty.");
  fill("waiting", apart.map((job) =>
    row(make("td", job.waiting_for ?? "not queued yet"), ticket(job, "th"), instrument(job),
      make("td", promised(job)))),
    apart.length, "Nothing waits.");
  at("queue").closest("section").dataset.untold = Math.max(0, board.counts.queued - board.queue.length);
  announce(board, held);
  fit();
}

function announce(board, held) {
  const late = board.promised.filter((job) => job.promise === "late").length;
  const due = board.settling.filter((job) => job.due).length;
  const said = `${held} on the benches, ${board.settling.length} settling, ${due} due, `
    + `${board.counts.queued} in the queue, ${board.promised.length} promised today or earlier, ${late} late.`;
  if (said !== summary) at("news").textContent = summary = said;
}

function fit() {
  const wall = WALL.matches && !whole;
  root.classList.toggle("wall", wall);
  for (const section of document.querySelectorAll("section")) {
    const lines = [...section.querySelectorAll("tbody tr")], more = section.querySelector(".more");
    const untold = Number(section.dataset.untold ?? 0);
    for (const line of lines) line.hidden = false;
    const tell = (count) => {
      more.hidden = count === 0;
      more.textContent = `and ${count} more`;
    };
    tell(untold);
    section.dataset.full = "";
  }
  if (!wall) return;
  for (const section of document.querySelectorAll("section")) {
    const lines = [...section.querySelectorAll("tbody tr")], more = section.querySelector(".more");
    const untold = Number(section.dataset.untold ?? 0);
    const room = section.getBoundingClientRect().bottom + 1;
    const end = () => (more.hidden ? lines.at(-1) : more).getBoundingClientRect().bottom;
    let beyond = 0;
    while (beyond < lines.length - 1 && end() > room) {
      beyond += 1;
      lines[lines.length - beyond].hidden = true;
      more.hidden = false;
      more.textContent = `and ${beyond + untold} more`;
    }
  }
}

function stand(state) {
  at("sign-in").hidden = state !== "sign-in";
  at("panels").hidden = at("foot").hidden = state !== "board";
  if (state === "sign-in") at("key").focus();
}

function lost() {
  const since = answered === null ? "" : ` since ${clockOf(answered)}; what stands here is from then`;
  const text = `No connection${since}.`;
  if (at("trouble").textContent !== text) at("trouble").textContent = text;
  at("trouble").hidden = false;
  if (!root.classList.contains("old")) {
    root.classList.add("old");
    fit();
  }
}

function found(response) {
  const date = Date.parse(response.headers.get("Date") ?? "");
  if (!Number.isNaN(date) && Math.abs(date - Date.now()) > 2000) offset = date - Date.now();
  answered = now();
  at("trouble").hidden = true;
  at("trouble").textContent = "";
  if (root.classList.contains("old")) {
    root.classList.remove("old");
    fit();
  }
}

function ask(address, options = {}) {
  return fetch(address, { cache: "no-store", signal: AbortSignal.timeout(PATIENCE), ...options });
}

async function look() {
  const response = await ask("/board/data", { headers: tag === null ? {} : { "If-None-Match": tag } });
  if (response.status === 401) {
    found(response);
    tag = shown = null;
    stand("sign-in");
  } else if (response.status === 304) {
    found(response);
  } else if (response.ok) {
    const board = await response.json();
    const released = response.headers.get("Board-Page");
    if (released && released !== root.dataset.page) return location.reload();
    found(response);
    tag = response.headers.get("ETag");
    shown = board;
    stand("board");
    show(board);
  } else {
    lost();
  }
}

async function poll() {
  try {
    if (at("sign-in").hidden) await look();
  } catch {
    lost();
  } finally {
    setTimeout(poll, EVERY);
  }
}

at("sign-in").addEventListener("submit", async (event) => {
  event.preventDefault();
  const key = at("key").value.trim();
  at("refused").textContent = "";
  try {
    const response = await ask("/board/session", { method: "POST", headers: { Authorization: `Bearer ${key}` } });
    if (response.status === 204) {
      at("key").value = "";
      await look();
    } else if (response.status === 403) {
      at("refused").textContent = "This key may not see the board: use a bench's key or a manager's.";
    } else {
      at("refused").textContent = response.status === 401
        ? "This key is not known, or has ended." : `The service answers ${response.status}; try again.`;
    }
  } catch {
    at("refused").textContent = "No connection to the service; try again.";
  }
});

at("leave").addEventListener("click", async () => {
  await ask("/board/session", { method: "DELETE" }).catch(() => lost());
  tag = null;
  await look().catch(lost);
});

at("whole").addEventListener("click", () => {
  whole = !whole;
  at("whole").setAttribute("aria-pressed", String(whole));
  fit();
});

function tick() {
  at("clock").textContent = clockOf(now());
}

addEventListener("resize", fit);
document.fonts.ready.then(fit);
tick();
setInterval(tick, 1000);
poll();
