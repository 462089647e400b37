// The page: one scene, its picture, and what is done to it.

import { Form, made } from "./form.js";
import { Ring, scaleOf } from "./ring.js";
import { Talk } from "./talk.js";

/** @param {string} id @returns {any} */
const part = (id) => document.getElementById(id);
const canvas = /** @type {HTMLCanvasElement} */ (part("picture"));
const pen = canvas.getContext("2d", { alpha: false });
const PARTS = ["size", "edge", "fringe", "light"];
const DESK = "projector desk";

const at = address();
let scene = at.scene, form = null, news = null, looked = null, lands = {}, lightRows = [], isThere = false, shown = 0, notes = [];

const talk = new Talk(hear, see, (isOpen) => {
  part("status").classList.toggle("lost", !isOpen);
  if (!isOpen) part("status").textContent = "The server is not there. What you changed is kept in this address; the page comes back by itself.";
  isThere = isOpen;
});
const stations = new Form(part("stations"), talk);

// What the address holds: the scene, and what was changed of it.

function address() {
  try {
    const found = JSON.parse(decodeURIComponent(location.hash.slice(1)) || "{}");
    return { scene: String(found.scene ?? ""), state: String(found.state ?? "") };
  } catch { return { scene: "", state: "" }; }
}

function keepAddress() {
  const text = encodeURIComponent(JSON.stringify({ scene, state: news.state }));
  history.replaceState(null, "", `#${text}`);
}

// What the server says.

const heard = {
  open(told) { scene = told.scene; sessionStorage.setItem(DESK, told.desk); lands = {}; looked = null; part("start").hidden = true; },
  form(told) {
    form = told;
    const first = form.lights.find((light) => light.name === looked?.name) ?? form.lights[0];
    drawLights();
    look(first, false);
  },
  values(told) {
    news = told;
    part("file").textContent = told.file; part("title").textContent = told.title;
    document.title = `${told.file} · projector`;
    showHistory(); showKept(); showLights();
    stations.show(told);
    showFaults(told.faults);
    for (const glance of document.querySelectorAll(".glance")) glance.classList.add("old");
    if (!told.is_drawn) say("");
    keepAddress();
  },
  lands(told) { if (told.serial < news?.serial) return; lands[told.part] = told.glances; showLands(); },
  notes(told) { notes = told.notes; showSentences(); },
  progress(told) { if (told.serial === news?.serial) say(`${told.name}, ${Math.round((100 * told.done) / Math.max(told.total, 1))} %`); },
  faults(told) { showFaults(told.faults); },
  refused(told) { showFaults(told.faults); if (!scene) choose(); part("save-over").hidden = !told.faults.some((fault) => fault.found?.includes("there already")); },
  saved(told) { scene = told.scene; part("save-said").textContent = `Saved as ${told.file}.`; part("save-over").hidden = true; },
  done() {},
};

function hear(told) { heard[told.say]?.(told); }

/** Say how the picture stands. @param {string} words */
function say(words) {
  if (isThere) part("status").textContent = news?.faults.length ? "The picture shows the last scene without faults." : words;
}

function see(about, pixels) {
  if (about.serial < shown) return;
  shown = about.serial;
  if (canvas.width !== about.width || canvas.height !== about.height) { canvas.width = about.width; canvas.height = about.height; }
  pen.putImageData(new ImageData(pixels, about.width, about.height), 0, 0);
  canvas.dataset.serial = about.serial; canvas.dataset.quality = about.quality;
  say(about.quality === "fine" ? "Fine picture." : "Quick picture.");
}

// What lands.

function showLands() {
  const fresh = PARTS.flatMap((name) => lands[name] ?? []);
  part("glances").replaceChildren(...fresh.map((glance) => made("div", { className: `glance${glance.to_mind ? " mind" : ""}`, title: `${glance.value}, ${glance.beside}` },
    made("div", { className: "name" }, glance.label), made("div", { className: "value" }, glance.value), made("div", { className: "beside" }, glance.beside || "\u00a0"))));
  showSentences();
}

function showSentences() {
  const said = PARTS.flatMap((name) => lands[name] ?? []).flatMap((glance) => glance.sentences);
  part("sentences").replaceChildren(...[...notes.map((note) => `Note: ${note}`), ...said].map((line) => made("p", {}, line)));
}

function showFaults(faults) {
  part("faults").hidden = !faults.length;
  part("faults").replaceChildren(...faults.map((fault) => made("p", {},
    [fault.line && `line ${fault.line}`, fault.key].filter(Boolean).join(", "), fault.key || fault.line ? ": " : "", fault.found ?? "",
    fault.allowed ? `. Allowed: ${fault.allowed}` : "", made("span", { className: "try" }, fault.try ? ` Try: ${fault.try}` : ""))));
}

// The lights: which one is looked at, on or off, alone, and its power in stops.

function drawLights() {
  lightRows = form.lights.map((light) => {
    const pick = made("button", { type: "button", className: "pick", title: `Look at ${light.name}` }, light.name);
    pick.addEventListener("click", () => look(light, true));
    const on = made("input", { type: "checkbox", "aria-label": `${light.name} on` });
    on.addEventListener("change", () => talk.say({ do: on.checked ? "on" : "off", light: light.name }));
    const alone = made("button", { type: "button", "aria-label": `${light.name} alone` }, "alone");
    alone.addEventListener("click", () => talk.say({ do: "alone", light: news.alone === light.name ? "" : light.name }));
    const ringCanvas = made("canvas", { className: "ring" });
    const value = made("span", { className: "typed" });
    const back = () => talk.say({ do: "power", light: light.name, to: 0 });
    const ring = new Ring(ringCanvas, {
      label: `power of ${light.name}, stops against the file`, unit: "stops", back, limits: [-12, 12],
      scale: scaleOf({ step: 0.1, clicks_a_doubling: 0, marks: [], lowest: -12, highest: 12 }),
      turned: (stops, gesture, isTurning) => {
        value.textContent = stopsText(stops);
        const message = { do: "power", light: light.name, to: stops, gesture };
        if (isTurning) talk.turn(`${light.name} power`, message); else talk.settle(message);
      },
    });
    const row = made("div", { className: "light" }, pick, made("label", {}, on, "on"), ringCanvas, value, alone);
    return { light, pick, on, alone, ring, ringCanvas, value, row };
  });
  part("lights").replaceChildren(...lightRows.map((row) => row.row));
}

const stopsText = (stops) => `${stops > 0 ? "+" : stops < 0 ? "−" : ""}${Math.abs(stops).toFixed(1)} st`;

function showLights() {
  for (const { light, pick, on, alone, ring, ringCanvas, value } of lightRows) {
    pick.setAttribute("aria-pressed", String(light.name === looked?.name));
    on.checked = !news.off.includes(light.name);
    alone.setAttribute("aria-pressed", String(news.alone === light.name));
    const stops = news.power[light.name];
    ringCanvas.style.visibility = stops === undefined ? "hidden" : "";
    value.textContent = stops === undefined ? "" : stopsText(stops);
    if (stops !== undefined) ring.set(stops, stops === 0 ? null : 0);
  }
}

function look(light, isAsked) {
  looked = light;
  stations.draw(form, light);
  if (news) { stations.show(news); showLights(); }
  if (isAsked && light) talk.say({ do: "look", light: light.name });
}

// The way back, variants, and the file.

function showHistory() {
  part("undo").disabled = news.at === 0;
  part("redo").disabled = news.at === news.history.length - 1;
  part("steps").replaceChildren(...news.history.map((words, index) => {
    const step = made("button", { type: "button", "aria-current": String(index === news.at) }, index === news.at ? `${words} (now)` : words);
    step.addEventListener("click", () => talk.say({ do: "go", at: index }));
    return made("li", {}, step);
  }));
}

function showKept() {
  part("kept").replaceChildren(...news.kept.map((name) => {
    const take = made("button", { type: "button" }, name), gone = made("button", { type: "button", "aria-label": `let ${name} go` }, "let go");
    take.addEventListener("click", () => talk.say({ do: "take", name }));
    gone.addEventListener("click", () => talk.say({ do: "let go", name }));
    return made("li", {}, take, gone);
  }));
  if (!part("saving").open) part("save-name").value = news.file;
}

part("undo").addEventListener("click", () => talk.say({ do: "undo" }));
part("redo").addEventListener("click", () => talk.say({ do: "redo" }));
part("keep").addEventListener("submit", (event) => { event.preventDefault(); talk.say({ do: "keep", name: part("keep-name").value }); part("keep-name").value = ""; });
part("save").addEventListener("submit", (event) => { event.preventDefault(); part("save-said").textContent = ""; talk.say({ do: "save", name: part("save-name").value }); });
part("save-over").addEventListener("click", () => { talk.say({ do: "save", name: part("save-name").value, overwrite: true }); });
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey || event.target instanceof HTMLInputElement) return;
  const key = event.key.toLowerCase();
  if (key === "z") { event.preventDefault(); talk.say({ do: event.shiftKey ? "redo" : "undo" }); }
  if (key === "y") { event.preventDefault(); talk.say({ do: "redo" }); }
});
document.addEventListener("click", (event) => {
  for (const drop of document.querySelectorAll("details.drop[open]")) if (!drop.contains(/** @type {Node} */ (event.target))) drop.removeAttribute("open");
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const drop of document.querySelectorAll("details.drop[open]")) { drop.removeAttribute("open"); drop.querySelector("summary").focus(); }
});

// A stencil that is dropped on the page goes into the gate of the light that is looked at.

document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", async (event) => {
  event.preventDefault();
  const file = event.dataTransfer?.files[0];
  if (!file || !looked?.owner.startsWith("projector.")) return;
  part("status").textContent = `Taking ${file.name}`;
  const answer = await fetch(new URL(`stencil?name=${encodeURIComponent(file.name)}`, document.baseURI), { method: "POST", body: file });
  const told = await answer.json();
  if (told.faults) { showFaults(told.faults); return; }
  const key = `${looked.owner}.stencil.file`, hasOne = news.values[key] !== undefined;
  const width = news.values[`${looked.owner}.gate.diameter_mm`] ?? news.values[`${looked.owner}.gate.width_mm`] ?? 36;
  talk.say({ do: "change", changes: { [key]: told.file, ...(hasOne ? {} : { [`${looked.owner}.stencil.width_mm`]: width }) } });
});

// The list of scenes.

async function choose() {
  const found = await (await fetch(new URL("scenes", document.baseURI))).json();
  part("where").textContent = `Yours are in ${found.folder}; the others come with the program and stay as they are.`;
  part("scenes").replaceChildren(...found.scenes.map((item) => {
    const button = made("button", { type: "button" }, made("b", {}, item.title || item.name), made("span", {}, item.is_shipped ? item.name : "in your folder"));
    button.addEventListener("click", () => { scene = item.name; sessionStorage.removeItem(DESK); talk.say({ do: "open", scene }); part("start").hidden = true; });
    return button;
  }));
  part("start").hidden = false;
  part("start-close").hidden = !news;
  part("scenes").querySelector("button")?.focus();
}

part("scenes-open").addEventListener("click", choose);
part("start-close").addEventListener("click", () => { part("start").hidden = true; });

async function begin() {
  if (!scene) scene = (await (await fetch(new URL("scenes", document.baseURI))).json()).first;
  if (!scene) await choose();
  talk.connect(() => {
    if (!scene) return null;
    const state = news?.state ?? at.state;
    return { do: "open", scene, desk: sessionStorage.getItem(DESK) ?? "", state };
  });
}

begin();
