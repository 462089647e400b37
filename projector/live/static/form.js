// The light's way as a form, drawn from what the server says of the scene's fields: a new field needs no line here.

import { Ring, figures, focusScale, scaleOf } from "./ring.js";

/** @typedef {{key: string, owner: string, station: string, label: string, kind: string, meaning: string, unit: string,
 *   lowest: number | null, highest: number | null, step: number, clicks_a_doubling: number, marks: number[],
 *   options: string[], is_at_hand: boolean}} Field */

/** A new element. @param {string} tag @param {Record<string, any>} about @param {...(Node | string)} inside */
export function made(tag, about = {}, ...inside) {
  const found = document.createElement(tag);
  for (const [name, value] of Object.entries(about)) {
    if (name in found && !name.startsWith("aria")) found[name] = value;
    else found.setAttribute(name, value);
  }
  found.append(...inside);
  return found;
}

const NAMES = { lamp: "Lamp", filter: "Filter", gate: "Gate", lens: "Lens", throw: "Throw", surface: "Surface", room: "Room", camera: "Camera" };

let count = 0;

export class Form {
  /** @param {HTMLElement} home @param {import("./talk.js").Talk} talk */
  constructor(home, talk) {
    this.home = home; this.talk = talk;
    /** @type {Map<string, (news: any) => void>} */ this.rows = new Map();
    this.open = new Set();
  }

  /** Draw the stations of one light. @param {any} form @param {{name: string, owner: string} | undefined} light */
  draw(form, light) {
    this.form = form; this.light = light;
    this.rows.clear();
    this.home.replaceChildren();
    for (const station of form.stations) {
      const own = ["surface", "room", "camera"].includes(station);
      const fields = form.fields.filter((field) => field.station === station && (own || field.owner === light?.owner));
      const isBare = light?.owner === "ambient";
      if (!fields.length && (own || isBare || !["filter"].includes(station))) continue;
      if (isBare && !own) continue;
      this.home.append(this.#station(station, fields));
    }
  }

  #station(name, fields) {
    const section = made("section", { className: `station ${name}`, "aria-label": NAMES[name] ?? name }, made("h2", {}, NAMES[name] ?? name));
    if (name === "filter") section.append(this.#filters());
    if (name === "lens" && fields.some((field) => field.key.endsWith(".lens.f_number"))) section.append(this.#focus());
    const owners = [...new Set(fields.map((field) => field.owner))];
    for (const owner of owners) {
      const own = fields.filter((field) => field.owner === owner);
      const called = owner.split(".").slice(1).join(".") || owner;
      if (owners.length > 1) section.append(made("h3", {}, called));
      section.append(...own.filter((field) => field.is_at_hand).map((field) => this.#row(field)));
      const rest = own.filter((field) => !field.is_at_hand);
      if (!rest.length) continue;
      const more = made("details", { className: "more", open: this.open.has(owner + name) },
        made("summary", {}, `More of ${owners.length > 1 ? called : (NAMES[name] ?? name).toLowerCase()}`));
      const fill = () => {
        if (more.open) this.open.add(owner + name); else this.open.delete(owner + name);
        if (more.open && more.children.length === 1) { more.append(...rest.map((field) => this.#row(field))); this.show(this.news); }
      };
      more.addEventListener("toggle", fill);
      if (more.open) more.append(...rest.map((field) => this.#row(field)));
      section.append(more);
    }
    return section;
  }

  /** Tell every row how its value stands. @param {any} news */
  show(news) {
    if (!news) return;
    this.news = news;
    for (const row of this.rows.values()) row(news);
  }

  #row(field) {
    const id = `field-${++count}`;
    const row = made("div", { className: "row", title: field.meaning }, made("label", { htmlFor: id }, field.label));
    const said = made("p", { className: "said", id: `${id}-said`, hidden: true });
    const show = field.kind === "number" || field.kind === "whole" ? this.#number(field, row, id) : this.#plain(field, row, id);
    row.append(said);
    this.rows.set(field.key, (news) => {
      show(news.values[field.key], field.key in news.of_file ? news.of_file[field.key] : undefined);
      row.classList.toggle("changed", news.changed.includes(field.key));
      const faults = news.faults.filter((fault) => fault.key === field.key);
      // What was typed stays to be put right, though the picture is that of the last good value.
      const box = row.querySelector("input:not([type=checkbox])");
      if (faults.length && box && field.key in news.typed) box.value = news.typed[field.key];
      row.classList.toggle("wrong", faults.length > 0);
      row.querySelector("input, select")?.setAttribute("aria-invalid", String(faults.length > 0));
      said.hidden = !faults.length;
      said.textContent = faults.map((fault) => [fault.found, fault.allowed && `allowed: ${fault.allowed}`, fault.try && `try: ${fault.try}`].filter(Boolean).join("; ")).join(". ");
    });
    return row;
  }

  #change(field, value) { this.talk.say({ do: "change", changes: { [field.key]: value } }); }

  #number(field, row, id) {
    const input = made("input", { id, type: "text", inputMode: "decimal", autocomplete: "off" });
    const back = () => this.#change(field, null);
    // A fraction such as 1/200 is read by the server.
    const typedValue = (text) => (text === "" ? null : Number.isFinite(Number(text)) ? Number(text) : text);
    input.addEventListener("change", () => this.#change(field, typedValue(input.value.trim().replace(",", "."))));
    input.addEventListener("dblclick", back);
    const typed = made("div", { className: "typed" }, input, made("span", { className: "unit" }, field.unit));
    let ring = null;
    const canvas = made("canvas", { className: "ring" });
    const begin = () => {
      ring = new Ring(canvas, {
        label: field.label, unit: field.unit, scale: scaleOf(field), limits: [field.lowest, field.highest], back,
        turned: (value, gesture, isTurning) => {
          input.value = String(figures(value, 5));
          const message = { do: "change", changes: { [field.key]: value }, gesture };
          if (isTurning) this.talk.turn(field.key, message); else this.talk.settle(message);
        },
      });
    };
    canvas.setAttribute("aria-description", field.meaning);
    row.append(canvas, typed);
    return (value, ofFile) => {
      canvas.hidden = value === null || value === undefined || (field.clicks_a_doubling > 0 && value <= 0);
      if (document.activeElement !== input) input.value = typeof value === "number" ? figures(value, 5) : value ?? "";
      input.placeholder = value === null ? "not said" : "";
      if (canvas.hidden) return;
      if (!ring) begin();
      ring.set(value, ofFile ?? null);
    };
  }

  #plain(field, row, id) {
    row.classList.add("plain");
    if (field.kind === "flag") {
      const box = made("input", { id, type: "checkbox" });
      box.addEventListener("change", () => this.#change(field, box.checked));
      row.append(box);
      return (value) => { box.checked = Boolean(value); };
    }
    const options = field.kind === "choice" ? field.options
      : field.key.endsWith("stencil.file") ? this.form.stencils : field.kind === "place" ? this.form.landmarks : null;
    if (options) {
      const list = made("select", { id });
      list.addEventListener("change", () => this.#change(field, list.value));
      row.append(list);
      return (value) => {
        const now = Array.isArray(value) ? `[${value.join(", ")}]` : value ?? "";
        list.replaceChildren(...[...new Set([...options, now])].map((option) => made("option", { value: option }, option || "not said")));
        list.value = now;
      };
    }
    const input = made("input", { id, type: "text", autocomplete: "off" });
    const numbers = (text) => text.replace(/[[\]]/g, "").split(/[,\s]+/).filter(Boolean).map((part) => (Number.isFinite(Number(part)) ? Number(part) : part));
    input.addEventListener("change", () => this.#change(field, input.value.trim() === "" ? null : field.kind === "lines" ? numbers(input.value) : input.value.trim()));
    row.append(input);
    return (value) => { if (document.activeElement !== input) { input.value = Array.isArray(value) ? value.join(", ") : value ?? ""; input.placeholder = value === null ? "not said" : ""; } };
  }

  #focus() {
    const name = this.light.name, canvas = made("canvas", { className: "ring tall" });
    const label = made("label", {}, "focus"), words = made("div", { className: "typed" });
    const input = made("input", { type: "text", inputMode: "decimal", "aria-label": "focus distance, m", autocomplete: "off" });
    const on = made("select", { "aria-label": "focus on a landmark" });
    const row = made("div", { className: "row focus", title: "Where the lens is sharp, on its axis. Turning it moves the stencil, as a focus ring does." },
      label, canvas, made("div", { className: "below" }, made("div", { className: "typed" }, input, made("span", { className: "unit" }, "m")), on, words));
    const to = (metres, gesture) => ({ do: "focus", light: name, to: metres, ...(gesture === undefined ? {} : { gesture }) });
    const back = () => this.talk.say({ do: "change", changes: { [`projector.${name}.focus.offset_mm`]: null } });
    input.addEventListener("change", () => { const metres = Number(input.value); if (metres > 0) this.talk.say(to(metres)); });
    on.addEventListener("change", () => { if (on.value) this.talk.say(to(Number(on.value))); });
    let ring = null, drawn = "";
    this.rows.set(`${name} focus`, (news) => {
      const focus = news.focus[name];
      row.hidden = !focus;
      if (!focus) return;
      if (JSON.stringify(focus.marks) !== drawn) {
        drawn = JSON.stringify(focus.marks);
        on.replaceChildren(made("option", { value: "" }, "on …"), ...focus.marks.map(([mark, metres]) => made("option", { value: metres }, `${mark}, ${metres.toFixed(2)} m`)));
        if (ring) ring.about.scale = focusScale(focus.marks);
      }
      ring ??= new Ring(canvas, {
        label: "focus", unit: "m", scale: focusScale(focus.marks), back, limits: [focus.nearest_m, 1000],
        says: (metres) => `sharp at ${metres.toFixed(2)} metres`,
        turned: (metres, gesture, isTurning) => {
          input.value = metres.toFixed(3);
          const message = to(metres, gesture);
          if (isTurning) this.talk.turn(`${name} focus`, message); else this.talk.settle(message);
        },
      });
      if (document.activeElement !== input) input.value = focus.sharp_m === null ? "∞" : focus.sharp_m.toFixed(3);
      on.value = "";
      ring.set(focus.sharp_m ?? 1000, null);
    });
    return row;
  }

  #filters() {
    const { name, owner } = this.light, id = `field-${++count}`;
    const list = made("select", { id }), shown = made("div", { className: "swatches" });
    const put = (names) => this.talk.say({ do: "filters", light: name, names });
    const row = made("div", { className: "row plain", title: "A filter by its name takes the place of those that are there." },
      made("label", { htmlFor: id }, "put in"), made("div", {}, list, shown));
    list.append(made("option", { value: "" }, "choose …"), made("option", { value: "none" }, "no filter"),
      ...this.form.filters.map((item) => made("option", { value: item.name }, `${item.name}, ${item.stops.toFixed(1)} stops`)));
    list.addEventListener("change", () => { if (list.value) put(list.value === "none" ? [] : [list.value]); });
    this.rows.set(`${owner} filters`, (news) => {
      list.value = "";
      const names = Object.entries(news.values).filter(([key, value]) => key.startsWith(`${owner}.filter.`) && key.endsWith(".name") && value).map(([, value]) => value);
      shown.replaceChildren(...names.map((each) => {
        const item = this.form.filters.find((one) => one.name === each), swatch = made("span", { className: "swatch" });
        if (item) swatch.style.background = item.swatch;
        return made("span", { className: "typed" }, swatch, `${each}${item ? `, costs ${item.stops.toFixed(1)} stops` : ""}`);
      }));
    });
    return row;
  }
}
