"use strict";

/** @typedef {Record<string, string>} Cells */
/** @typedef {{key: string, log: string, rows: Cells[], what: string, back: Back, saved?: string}} Entry */
/** @typedef {{build: string, bait: string, started: number}} InUse */
/** @typedef {{bait: number, cells: Cells, ask: string}} Asking */
/** @typedef {{mold: string, day: string, session: string, marks: string[], flaws: string[], picked: number, temp: string}} Pot */
/** @typedef {{place: Cells, build: string, tag: string, inUse: InUse[], asking: Asking | null, species: string[]}} Water */
/** @typedef {{view: string, pot: Pot, water: Water}} Now */
/** @typedef {{pot?: Pot, inUse?: InUse}} Back what taking an entry back restores */
/** @typedef {{bench: string, molds: Record<string, string[]>, builds: string[], items: Record<string, string>,
 *  headings: Record<string, Record<string, string>>, words: Record<string, string[]>, currency: string}} Facts */
/** @typedef {string | Node | null | false} Child */

/** @param {string} id */
const byId = (id) => /** @type {HTMLElement} */ (document.getElementById(id));
/** @type {Facts} */
const facts = JSON.parse(byId("facts").textContent ?? "");
const MARKS = ["good", "reject", "blank"];
const SIGNS = { good: "✓ good", reject: "✕ bad", blank: "○ blank" };
const VIEWS = { pot: "Pot", water: "Water", shelf: "Shelf", save: "Save" };
const NUMBER = /^\d+([.,]\d+)?$|^(\d+ )?\d+\/\d+$/;
const COUNT = /^\d+$/;

// ---- what the browser keeps: one entry a key, so that a tap writes little and two windows do not collide

const prefix = `benchwater/${facts.bench}/`;
let kept = true;

/** @template T @param {string} key @param {T} otherwise @returns {T} */
function load(key, otherwise) {
  try {
    const text = localStorage.getItem(prefix + key);
    return text === null ? otherwise : JSON.parse(text);
  } catch {
    return otherwise;
  }
}

/** @param {string} key @param {unknown} value */
function store(key, value) {
  try {
    localStorage.setItem(prefix + key, JSON.stringify(value));
  } catch {
    kept = false;
  }
}

/** @returns {Entry[]} */
function loadEntries() {
  const found = [];
  try {
    for (let place = 0; place < localStorage.length; place++) {
      const key = localStorage.key(place) ?? "";
      if (key.startsWith(`${prefix}entry/`)) found.push(load(key.slice(prefix.length), null));
    }
  } catch {
    kept = false;
  }
  const whole = /** @type {Entry[]} */ (found.filter((entry) => entry !== null));
  return whole.sort((a, b) => (a.key < b.key ? -1 : 1));
}

let entries = loadEntries();
const device = load("device", Array.from({ length: 2 }, () => "abcdefghjkmnpqrstuvwxyz"[Math.floor(Math.random() * 23)]).join(""));
store("device", device);
/** @type {Now} */
let now = load("now", {
  view: "pot",
  pot: { mold: "", day: "", session: "", marks: [], flaws: [], picked: -1, temp: "" },
  water: { place: {}, build: "", tag: "", inUse: [], asking: null, species: [] },
});

/** @param {number} value */
const two = (value) => String(value).padStart(2, "0");
const day = (at = new Date()) => `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
const clock = (at = new Date()) => `${two(at.getHours())}:${two(at.getMinutes())}`;
/** To the second, so that equal rows of two saved files are not taken for repeats. */
const moment = (at = new Date()) => `${day(at)} ${clock(at)}:${two(at.getSeconds())}`;

/** Keep rows of one log as one entry, which `undo` takes back whole.
 * @param {string} log @param {Cells[]} rows @param {string} what @param {Back} back */
function keep(log, rows, what, back = {}) {
  const last = entries.at(-1)?.key ?? "";
  let order = Date.now();
  while (`entry/${order.toString(36).padStart(9, "0")}` <= last.slice(0, 15)) order += 1;
  const key = `entry/${order.toString(36).padStart(9, "0")}${device}`;
  const entry = { key, log, rows, what, back };
  entries.push(entry);
  store(key, entry);
  say(`Kept: ${what}.`);
}

/** @param {Entry} entry */
function undo(entry) {
  entries = entries.filter((each) => each !== entry);
  localStorage.removeItem(prefix + entry.key);
  const { pot, inUse } = entry.back;
  if (pot) setPot(pot);
  if (inUse) setWater({ inUse: [...now.water.inUse, inUse], asking: null });
  say(`Taken back: ${entry.what}.`);
  draw();
}

// ---- the page

/** @param {string} tag @param {Record<string, unknown>} attributes @param {Child[]} children */
function el(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") made.addEventListener(name, /** @type {EventListener} */ (value));
    else if (value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : String(value));
  }
  made.append(...children.filter((child) => child !== null && child !== false));
  return made;
}

/** @param {string} text @param {() => void} click @param {Record<string, unknown>} more */
function button(text, click, more = {}) {
  return el("button", { type: "button", click, "data-key": text, ...more }, text);
}

/** Buttons to choose one of several words.
 * @param {string} legend @param {string[]} words @param {string} chosen @param {(word: string) => void} choose */
function choices(legend, words, chosen, choose) {
  const each = words.map((word) => button(word, () => choose(word), { "aria-pressed": String(word === chosen) }));
  return el("div", { class: "choices", role: "group", "aria-label": legend }, ...each);
}

/** @param {string} label @param {string} value @param {(text: string) => void} change @param {Record<string, unknown>} more */
function field(label, value, change, more = {}) {
  const input = el("input", { autocomplete: "off", value, "data-key": label, ...more,
    input: (/** @type {InputEvent} */ event) => change(/** @type {HTMLInputElement} */ (event.target).value.trim()) });
  return el("label", { class: more.inputmode ? "short" : undefined }, label, input);
}

/** Return whether a typed number can be read; if not, say so and mark its field.
 * @param {string} label @param {string} text @param {RegExp} pattern */
function readable(label, text, pattern = NUMBER) {
  if (pattern.test(text)) return true;
  const input = document.querySelector(`[data-key="${CSS.escape(label)}"]`);
  input?.setAttribute("aria-invalid", "true");
  if (input instanceof HTMLElement) input.focus();
  say(`${label}: “${text}” is no number. Write one such as ${pattern === COUNT ? "12" : "12.5 or 12 1/2"}.`);
  return false;
}

/** Return a label with the unit of its column: `Length, in`.
 * @param {string} log @param {string} column @param {string} label */
function labelOf(log, column, label) {
  const unit = /\[(.*)\]/.exec(facts.headings[log]?.[column] ?? "");
  return unit ? `${label}, ${unit[1]}` : label;
}

/** @param {string} text */
const say = (text) => { byId("said").textContent = text; };
/** @param {Partial<Pot>} change */
const setPot = (change) => { now = { ...now, pot: { ...now.pot, ...change } }; };
/** @param {Partial<Water>} change */
const setWater = (change) => { now = { ...now, water: { ...now.water, ...change } }; };
/** @param {Partial<Pot>} change */
const drawPot = (change) => { setPot(change); draw(); };
/** @param {Partial<Water>} change */
const drawWater = (change) => { setWater(change); draw(); };
/** @param {string[]} logs */
const unsaved = (...logs) => entries.filter((entry) => !entry.saved && logs.includes(entry.log));
/** @param {Entry[]} list */
const rowsIn = (list) => list.reduce((sum, entry) => sum + entry.rows.length, 0);
/** @param {number} count @param {string} what */
const counted = (count, what) => `${count} ${what}${count === 1 ? "" : "s"}`;

/** Return a button that takes back the last entry of these logs that is not saved yet, if there is one.
 * @param {string[]} logs */
function undoButton(...logs) {
  const last = unsaved(...logs).at(-1);
  return last ? button(`Undo: ${last.what}`, () => undo(last), { "data-key": "undo" }) : null;
}

function draw() {
  const focused = document.activeElement?.getAttribute("data-key");
  store("now", now);
  const waiting = rowsIn(entries.filter((entry) => !entry.saved));
  byId("views").replaceChildren(...Object.entries(VIEWS).map(([view, name]) =>
    button(view === "save" && waiting ? `${name} (${waiting})` : name, () => { now = { ...now, view }; draw(); },
      { "aria-current": view === now.view ? "page" : undefined, "data-key": `view ${view}` })));
  const views = { pot: drawThePot, water: drawTheWater, shelf: drawTheShelf, save: drawTheSaving };
  const warning = kept ? null
    : el("p", { class: "warning", role: "alert" }, "This browser keeps nothing: save before you close the page, or open it in another browser.");
  const view = /** @type {keyof typeof views} */ (now.view);
  byId("main").replaceChildren(...[warning, ...views[view]()].filter((part) => part !== null));
  const again = focused && document.querySelector(`[data-key="${CSS.escape(focused)}"]`);
  if (again instanceof HTMLElement) again.focus();
  else if (focused) byId("main").focus();
}

// ---- at the pot: a fill is a row of cavities, each tapped through good, bad and blank

function fillNumber() {
  const { mold, day: session_day, session } = now.pot;
  const numbers = entries.flatMap((entry) => entry.rows)
    .filter((row) => row.mold === mold && row.date?.slice(0, 10) === session_day && row.session === session)
    .map((row) => Number(row.fill));
  return Math.max(0, ...numbers) + 1;
}

/** @param {string} mold */
function chooseMold(mold) {
  const cavities = facts.molds[mold] ?? [];
  drawPot({ mold, day: day(), session: "", marks: cavities.map(() => "good"), flaws: cavities.map(() => ""), picked: -1 });
}

/** @param {number} place */
function tapCavity(place) {
  const mark = MARKS[(MARKS.indexOf(now.pot.marks[place] ?? "") + 1) % MARKS.length] ?? "good";
  drawPot({ marks: now.pot.marks.with(place, mark), flaws: now.pot.flaws.with(place, ""), picked: mark === "reject" ? place : -1 });
}

function keepFill() {
  const before = now.pot, { mold, marks, flaws, temp, session } = now.pot, cavities = facts.molds[mold] ?? [], fill = fillNumber();
  if (temp && !readable(temperatureLabel(), temp)) return;
  /** @type {Map<string, Cells>} */
  const rows = new Map();
  const date = day() === now.pot.day ? `${now.pot.day} ${clock()}` : now.pot.day;
  cavities.forEach((cavity, place) => {
    const outcome = marks[place] ?? "good", flaw = flaws[place] ?? "", key = `${cavity}|${outcome}|${flaw}`;
    const count = Number(rows.get(key)?.count ?? 0) + 1;
    rows.set(key, { date, mold, cavity, outcome, count: String(count), fill: String(fill), mold_temp: temp.replace(",", "."), flaw, session });
  });
  const every = marks.every((mark) => mark === "blank") ? "blank" : "good";
  setPot({ marks: marks.map(() => every), flaws: flaws.map(() => ""), picked: -1, temp: "" });
  keep("pour", [...rows.values()], `fill ${fill} of ${mold}`, { pot: before });
  draw();
}

const temperatureLabel = () => labelOf("pour", "mold_temp", "Mold temperature");

function newSession() {
  const used = entries.flatMap((entry) => entry.rows).filter((row) => row.mold === now.pot.mold && row.date?.slice(0, 10) === day());
  const names = new Set(used.map((row) => row.session));
  const free = ["", ..."bcdefghijklmnopqrstuvwxyz"].find((name) => !names.has(name)) ?? clock();
  drawPot({ day: day(), session: free });
  say("New session: fills count from 1.");
}

function drawThePot() {
  const { mold, marks, flaws, picked, temp } = now.pot, cavities = facts.molds[mold];
  const molds = choices("Mold", Object.keys(facts.molds), mold, chooseMold);
  if (!cavities) return [el("h2", {}, "Which mold?"), molds];
  if (fillNumber() === 1 && now.pot.day !== day()) setPot({ day: day(), session: "" });
  const ask = marks[picked] === "reject" && [
    el("h2", {}, `What is wrong with ${cavities[picked]}?`),
    choices("Flaw", facts.words["pour.flaw"] ?? [], flaws[picked] ?? "", (flaw) => drawPot({ flaws: flaws.with(picked, flaw), picked: -1 })),
  ];
  return [
    molds,
    el("h2", {}, `Fill ${fillNumber()}`),
    el("div", { class: "cavities" }, ...cavities.map((cavity, place) => {
      const mark = /** @type {keyof typeof SIGNS} */ (marks[place] ?? "good");
      return el("button", { type: "button", class: mark, "data-key": `cavity ${place}`, click: () => tapCavity(place) },
        el("b", {}, cavity), SIGNS[mark], flaws[place] ? `: ${flaws[place]}` : "");
    })),
    ...(ask || []),
    field(temperatureLabel(), temp, (text) => setPot({ temp: text }), { inputmode: "decimal" }),
    button(`Fill ${fillNumber()} done`, keepFill, { class: "main", "data-key": "done" }),
    el("div", { class: "choices" }, ...[undoButton("pour"), button("New session", newSession)].filter((each) => each !== null)),
    el("p", { class: "quiet" }, "Shield, gloves and shoes on; nothing wet near the pot. Wash your hands before you eat."),
  ];
}

// ---- at the water: baits in use, how they end, and what they catch

/** @param {InUse} bait */
const nameOf = (bait) => (bait.bait ? `${bait.build} ${bait.bait}` : bait.build);

/** @param {Cells} more */
const atTheWater = (more) => ({ ...now.water.place, ...more });

/** @param {string} log @param {string} text */
const wordsOf = (log, text) => facts.words[`${log}.${text}`] ?? [];

/** @param {number} place @param {string} fate @param {string} cause */
function endUse(place, fate, cause) {
  const bait = now.water.inUse[place], minutes = now.water.asking?.cells.minutes ?? "";
  if (!bait || !readable("Minutes fished", minutes, COUNT)) return;
  setWater({ inUse: now.water.inUse.toSpliced(place, 1), asking: null });
  const row = atTheWater({ date: moment(new Date(bait.started)), build: bait.build, bait: bait.bait, fished: minutes, fate, cause });
  keep("fishing", [row], `${nameOf(bait)} ${fate}`, { inUse: bait });
  draw();
}

/** @param {number} place @param {string} released */
function keepFish(place, released) {
  const bait = now.water.inUse[place], { species = "", length = "" } = now.water.asking?.cells ?? {};
  const label = lengthLabel();
  if (!bait || (length && !readable(label, length))) return;
  if (!species) return say("Which species was it?");
  setWater({ asking: null, species: [species, ...now.water.species.filter((each) => each !== species)].slice(0, 12) });
  const { leader: _, ...where } = now.water.place;
  keep("catch", [{ ...where, date: moment(), species, build: bait.build, bait: bait.bait, length: length.replace(",", "."), released }],
    `${species} on ${nameOf(bait)}`);
  draw();
}

const lengthLabel = () => labelOf("catch", "length", "Length");

/** @param {Cells} change */
const answer = (change) => {
  const asking = now.water.asking;
  if (asking) setWater({ asking: { ...asking, cells: { ...asking.cells, ...change } } });
};

/** @param {InUse} bait @param {number} place */
function baitInUse(bait, place) {
  const minutes = String(Math.max(1, Math.round((Date.now() - bait.started) / 60000)));
  const asking = now.water.asking?.bait === place ? now.water.asking : null;
  /** @param {string} kind */
  const ask = (kind) => drawWater({ asking: { bait: place, ask: kind, cells: kind === "fish" ? {} : { minutes } } });
  /** @type {Child[]} */
  let more = [el("div", { class: "choices" },
    button("Fish", () => ask("fish"), { "data-key": `fish ${place}` }), button("End", () => ask("end"), { "data-key": `end ${place}` }))];
  if (asking?.ask === "end") {
    const { fate = "" } = asking.cells;
    more = [
      field("Minutes fished", asking.cells.minutes ?? minutes, (text) => answer({ minutes: text }), { inputmode: "numeric" }),
      choices("What became of it", wordsOf("fishing", "fate"), fate, (word) => {
        if (word !== "lost" && word !== "worn") return endUse(place, word, "");
        answer({ fate: word });
        draw();
      }),
      fate ? choices("Cause", [...wordsOf("fishing", "cause"), "not known"], "", (cause) => endUse(place, fate, cause === "not known" ? "" : cause)) : null,
    ];
  } else if (asking) {
    const { species = "", length = "" } = asking.cells;
    more = [
      choices("Species", now.water.species, species, (word) => { answer({ species: word }); draw(); }),
      field("Another species", now.water.species.includes(species) ? "" : species, (text) => answer({ species: text })),
      field(lengthLabel(), length, (text) => answer({ length: text }), { inputmode: "decimal" }),
      el("div", { class: "choices" }, button("Kept", () => keepFish(place, "no")), button("Released", () => keepFish(place, "yes"))),
    ];
  }
  if (asking) more.push(button("Back", () => drawWater({ asking: null })));
  return el("section", { class: "entry", "aria-label": nameOf(bait) }, el("p", {}, el("b", {}, nameOf(bait)), ` since ${clock(new Date(bait.started))}`), ...more);
}

function startUse() {
  const { build, tag, inUse } = now.water;
  if (!build) return say("Which bait goes in?");
  drawWater({ inUse: [...inUse, { build, bait: tag, started: Date.now() }], tag: "" });
  say(`${tag ? `${build} ${tag}` : build} in use since ${clock()}.`);
}

function drawTheWater() {
  const { place, build, tag, inUse } = now.water;
  const labels = { water: "Water", angler: "Angler", trip: "Trip", habitat: "Habitat (apart by ;)", leader: "Leader (yes, no or its material)" };
  return [
    el("details", { open: Object.keys(place).length === 0 }, el("summary", {}, `Where and who: ${Object.values(place).filter(Boolean).join(", ") || "not said yet"}`),
      ...Object.entries(labels).map(([name, label]) =>
        field(label, place[name] ?? "", (text) => { setWater({ place: { ...now.water.place, [name]: text } }); store("now", now); }))),
    el("h2", {}, "Baits in use"),
    inUse.length ? null : el("p", { class: "quiet" }, "None yet: choose a bait and start it."),
    ...inUse.map(baitInUse),
    el("h2", {}, "Start a bait"),
    choices("Bait", facts.builds, build, (word) => drawWater({ build: word })),
    field("Tag, if it has one", tag, (text) => setWater({ tag: text })),
    button("Start", startUse, { class: "main" }),
    undoButton("fishing", "catch"),
    el("p", { class: "quiet" }, "Life jacket on. Wash lead off your hands before you eat."),
  ];
}

// ---- at the shelf: what is there and what came

/** @type {Record<string, Cells>} */
const shelf = {};

/** @param {string} item @param {string} unit */
function keepAmount(item, unit) {
  const { move = "counted", amount = "", cost = "" } = shelf[item] ?? {};
  if (!readable(`${item}${unit && `, ${unit}`}`, amount, unit ? NUMBER : COUNT) || (cost && !readable(`${item}: paid`, cost))) return;
  delete shelf[item];
  const row = { date: moment(), item, move, amount: `${amount.replace(",", ".")} ${unit}`.trim(), cost: cost.replace(",", ".") };
  keep("inventory", [row], `${item} ${move} ${row.amount}`);
  draw();
}

function drawTheShelf() {
  const rows = entries.filter((entry) => entry.log === "inventory").flatMap((entry) => entry.rows);
  return [undoButton("inventory"), ...Object.entries(facts.items).map(([item, unit]) => {
    const last = rows.findLast((row) => row.item === item && row.move === "counted");
    const own = (shelf[item] ??= {});
    const moves = wordsOf("inventory", "move").map((word) => el("option", { selected: word === (own.move ?? "counted") }, word));
    return el("section", { class: "entry", "aria-label": item },
      el("p", {}, el("b", {}, item), last ? ` counted ${last.amount} on ${last.date?.slice(0, 10)}` : ""),
      field(`${item}${unit && `, ${unit}`}`, own.amount ?? "", (text) => { own.amount = text; }, { inputmode: "decimal" }),
      el("label", { class: "short" }, "Move", el("select", { "data-key": `move ${item}`,
        change: (/** @type {Event} */ event) => { own.move = /** @type {HTMLSelectElement} */ (event.target).value; draw(); } }, ...moves)),
      own.move === "received" && field(`${item}: paid`, own.cost ?? "", (text) => { own.cost = text; }, { inputmode: "decimal" }),
      button("Keep", () => keepAmount(item, unit), { "data-key": `keep ${item}`, "aria-label": `Keep ${item}` }));
  })];
}

// ---- saving: one CSV a log, under a name that was never used before

/** @param {string} cell */
const quoted = (cell) => (/[",\r\n]/.test(cell) ? `"${cell.replaceAll('"', '""')}"` : cell);

/** @param {string} log @param {Entry[]} list */
function csv(log, list) {
  const headings = facts.headings[log] ?? {}, rows = list.flatMap((entry) => entry.rows);
  const used = Object.keys(headings).filter((name) => rows.some((row) => row[name]));
  const lines = [used.map((name) => headings[name] ?? name), ...rows.map((row) => used.map((name) => row[name] ?? ""))];
  return lines.map((line) => `${line.map(quoted).join(",")}\r\n`).join("");
}

/** @param {string} log */
function nextName(log) {
  const saves = load("saves", /** @type {string[]} */ ([]));
  const start = `${log}-${day()}-${device}`;
  const letters = [...Array(26 * 26).keys()].map((n) => (n < 26 ? "" : String.fromCharCode(96 + Math.floor(n / 26))) + String.fromCharCode(97 + (n % 26)));
  const name = letters.map((letter) => `${start}-${letter}.csv`).find((each) => !saves.includes(each)) ?? `${start}-${Date.now()}.csv`;
  store("saves", [...saves, name]);
  return name;
}

/** @param {string} name @param {string} log @param {boolean} share */
async function hand(name, log, share) {
  const file = new File([csv(log, entries.filter((entry) => entry.saved === name))], name, { type: "text/csv" });
  if (share) return navigator.share({ files: [file] }).catch(() => say(`Not shared. ${name} is still here: save or share it again.`));
  const link = el("a", { href: URL.createObjectURL(file), download: name });
  document.body.append(link);
  link.click();
  link.remove();
}

/** @param {string} log @param {boolean} share */
function saveLog(log, share) {
  const list = unsaved(log), name = nextName(log);
  for (const entry of list) {
    entry.saved = name;
    store(entry.key, entry);
  }
  void hand(name, log, share);
  say(`Saved ${counted(rowsIn(list), "row")} as ${name}. Put the file into your folder of logs.`);
  draw();
}

/** @param {string} name */
function forget(name) {
  if (!confirm(`Forget the rows of ${name}? Only do this once the file is safe in your folder of logs.`)) return;
  for (const entry of entries.filter((each) => each.saved === name)) localStorage.removeItem(prefix + entry.key);
  entries = entries.filter((entry) => entry.saved !== name);
  draw();
}

function drawTheSaving() {
  const canShare = navigator.canShare?.({ files: [new File([""], "a.csv", { type: "text/csv" })] }) ?? false;
  const waiting = Object.keys(facts.headings).filter((log) => unsaved(log).length).map((log) => el("section", { class: "entry", "aria-label": log },
    button(`Save ${counted(rowsIn(unsaved(log)), "row")} of the ${log} log`, () => saveLog(log, false), { class: "main", "data-key": `save ${log}` }),
    canShare && button("Share instead", () => saveLog(log, true), { "data-key": `share ${log}` })));
  const names = [...new Set(entries.map((entry) => entry.saved ?? ""))].filter(Boolean).reverse();
  return [
    el("h2", {}, waiting.length ? "Not saved yet" : "Everything here is saved"), ...waiting,
    el("h2", {}, "Saved before"),
    ...names.map((name) => {
      const list = entries.filter((entry) => entry.saved === name), log = list[0]?.log ?? "";
      return el("section", { class: "entry", "aria-label": name }, el("p", {}, `${name}: ${counted(rowsIn(list), "row")}`), el("div", { class: "choices" },
        button("Save again", () => void hand(name, log, false), { "data-key": `again ${name}` }),
        button("Forget", () => forget(name), { "data-key": `forget ${name}` })));
    }),
  ];
}

addEventListener("storage", () => { entries = loadEntries(); draw(); });
draw();
