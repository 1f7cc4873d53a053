// Keeps a page live: the words, the numbers, the curve. Without it the page is whole, but still.
"use strict";

// The server gives a sign of life every five seconds; after this long what is shown is old.
const SILENCE = 12000; // ms
const UNKNOWN = "No connection to reststrom: what stood here is old. Treat the clips as energised.";

const places = new Map();
for (const place of document.querySelectorAll("[data-station]")) places.set(place.dataset.station, place);

let heard = Date.now();
let lost = false;

function set(place, name, text) {
    const field = place.querySelector(`[data-field="${name}"]`);
    if (field && text !== undefined && field.textContent !== text) field.textContent = text;
}

function show(place, condition, says, means) {
    const block = place.querySelector(".condition");
    if (block.dataset.condition !== condition) block.dataset.condition = condition;
    set(place, "says", says);
    set(place, "means", means);
}

function title(text) {
    const wanted = places.size === 1 ? text : document.querySelector("title").dataset.title + " · reststrom";
    if (document.title !== wanted) document.title = wanted;
}

function losing() {
    if (lost) return;
    lost = true;
    for (const place of places.values()) show(place, "unknown", "UNKNOWN", UNKNOWN);
    title("UNKNOWN · reststrom");
}

function hearing() {
    heard = Date.now();
    if (!lost) return;
    // Whatever happened meanwhile, the page as it is now says it whole.
    location.reload();
}

const heardFrom = {
    alive: hearing,
    lost: losing,
    missed() {
        if (places.size) location.reload();
    },
    station(told) {
        hearing();
        const place = places.get(told.station);
        if (!place) return;
        show(place, told.condition, told.says, told.means);
        title(`${told.says} · ${told.station}`);
        const run = told.going ? told.going.run : null;
        const changed = place.dataset.doing !== told.doing || shownRun(place) !== run;
        place.dataset.doing = told.doing;
        // Another run or its end changes the whole page; words that are being typed stay.
        if (changed && !isTyping()) location.reload();
    },
    reading(told) {
        hearing();
        const place = places.get(told.station);
        // What was read in a run that is over says nothing of now.
        if (!place || place.dataset.doing === "idle") return;
        show(place, told.condition, told.says, told.means);
        set(place, "reads", told.reads);
        set(place, "volts", told.volt === null ? "unknown" : told.volt.toFixed(2) + " V");
        set(place, "left", told.left);
        set(place, "phase", told.phase);
        set(place, "next", told.next);
        title(`${told.says} · ${told.reads} · ${told.station}`);
        if (live) live.add(told);
        if (told.read_at) late(place, told.read_at);
    },
};

// How long after it was read a reading stands on the page.
function late(place, readAt) {
    requestAnimationFrame(() => {
        place.dataset.lateMs = String(Date.now() - Date.parse(readAt));
    });
}

function shownRun(place) {
    const run = place.querySelector("[data-run]");
    return run ? run.dataset.run : null;
}

function isTyping() {
    const at = document.activeElement;
    const types = at && ["INPUT", "SELECT"].includes(at.tagName);
    return types || [...document.querySelectorAll("main input[name=part]")].some((field) => field.value);
}

function take(message) {
    const hear = heardFrom[message.kind];
    if (hear) hear(message.data);
}

function listenAlone() {
    const source = new EventSource("/api/events");
    for (const kind of ["station", "reading", "missed", "alive"]) {
        source.addEventListener(kind, (event) => take({ kind, data: JSON.parse(event.data) }));
    }
    source.onerror = losing;
    // A page that is put away gives its connection back.
    addEventListener("pagehide", () => source.close());
}

function listen() {
    if (!places.size) return;
    setInterval(() => {
        if (SILENCE < Date.now() - heard) losing();
    }, 1000);
    if (!window.SharedWorker) return listenAlone();
    const worker = new SharedWorker("/assets/live.js");
    worker.onerror = listenAlone;
    worker.port.onmessage = (event) => take(event.data);
    addEventListener("pagehide", () => worker.port.postMessage("bye"));
    addEventListener("pageshow", (event) => {
        if (event.persisted) location.reload();
    });
}

// Cutting out: at once, and said. If the script can't, the form posts by itself.
for (const form of document.querySelectorAll("form.cut-out")) {
    form.addEventListener("submit", async (event) => {
        event.preventDefault();
        const said = form.querySelector("output");
        said.textContent = "cutting out …";
        try {
            const answer = await fetch(form.dataset.api, { method: "POST" });
            if (!answer.ok) throw new Error(answer.statusText);
            const told = [].concat(await answer.json());
            const stopping = told.some((one) => one.answer === "stopping");
            said.textContent = stopping ? "Output off; discharging. Do not touch yet." : "There was no run to stop.";
        } catch {
            form.submit();
        }
    });
}

// Curves.

const MOST = 4000;
const DASHES = [[], [8, 4], [2, 3], [12, 4, 2, 4], [4, 4], [16, 6], [1, 5], [10, 2, 2, 2]];
const HUES = ["--curve", "#b3541e", "#2f7d4f", "#7a4fa3", "#9c7a00", "#0e7c86", "#a8326b", "#5d5a52"];

function colour(name) {
    return name.startsWith("--") ? getComputedStyle(document.documentElement).getPropertyValue(name).trim() : name;
}

const PREFIXES = [[1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"], [1e-12, "p"]];

function amperes(value) {
    if (value === null || value === undefined) return "–";
    const size = Math.abs(value);
    const [unit, prefix] = PREFIXES.find(([unit]) => unit <= size * 1.0000001) || PREFIXES[4];
    return `${+(value / unit).toPrecision(3)} ${prefix}A`;
}

function duration(value) {
    if (value === null || value === undefined) return "–";
    if (value < 60) return `${+value.toPrecision(3)} s`;
    if (value < 3600) return `${+(value / 60).toPrecision(3)} min`;
    return `${+(value / 3600).toPrecision(3)} h`;
}

// Lines and letters stand at whole decades only.
function powers(_, axis, least, greatest) {
    const all = [];
    for (let power = Math.ceil(Math.log10(least) - 1e-6); 10 ** power <= greatest * 1.000001; power += 1) all.push(10 ** power);
    return all;
}

const lettered = (letter) => (_, splits) => splits.map(letter);
const allOf = (_, splits) => splits;

function wholeDecades(_, least, greatest) {
    if (!(0 < least && least < greatest)) return [1, 10];
    const from = Math.floor(Math.log10(least));
    const to = Math.max(Math.ceil(Math.log10(greatest)), from + 1);
    return [10 ** from, 10 ** to];
}

function axes(withVolts) {
    const stroke = colour("--ink");
    const grid = { stroke: colour("--line"), width: 1 };
    const ticks = { stroke: colour("--line"), width: 1, size: 5 };
    const seconds = (value) => `${value} s`;
    const all = [
        { stroke, grid, ticks, splits: powers, values: lettered(seconds), filter: allOf },
        { scale: "A", stroke, grid, ticks, splits: powers, values: lettered(amperes), filter: allOf, size: 64 },
    ];
    if (withVolts) all.push({ scale: "V", side: 1, stroke: colour("--volts"), ticks, grid: { show: false }, values: lettered((v) => v + " V"), size: 56, space: 60 });
    return all;
}

function draw(place, series, data, withVolts) {
    const size = () => ({ width: place.clientWidth, height: Math.max(300, Math.min(460, innerHeight * 0.5)) });
    place.replaceChildren();
    const chart = new uPlot({
        ...size(),
        scales: {
            x: { time: false, distr: 3, range: wholeDecades },
            A: { distr: 3, range: wholeDecades },
            V: { range: (_, least, most) => [0, Math.max(1, most * 1.1)] },
        },
        axes: axes(withVolts),
        series,
        cursor: { drag: { x: false, y: false } },
    }, data, place);
    addEventListener("resize", () => chart.setSize(size()));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => location.reload());
    return chart;
}

const moment = { label: "time", value: (_, value) => duration(value) };

// A curve that grows: x starts at the first tenth of a second, and what is not above zero has no
// place among decades.
class Live {
    constructor(place, run) {
        this.place = place;
        this.limit = Number(run.dataset.limit);
        this.run = run.dataset.run;
        this.data = [[], [], [], []];
        this.due = false;
        const ink = (name, more) => ({ stroke: colour(name), width: 2, ...more });
        this.chart = draw(place, [
            moment,
            { label: "current", scale: "A", value: (_, value) => amperes(value), points: { show: false }, ...ink("--curve") },
            { label: "limit", scale: "A", value: (_, value) => amperes(value), points: { show: false }, ...ink("--limit", { dash: [10, 6] }) },
            { label: "voltage", scale: "V", value: (_, value) => (value === null ? "–" : value.toFixed(2) + " V"), points: { show: false }, ...ink("--volts", { dash: [2, 3] }) },
        ], this.data, true);
        this.begin();
    }

    async begin() {
        if (!this.run) return;
        const answer = await fetch(`/api/runs/${this.run}/curve`);
        if (!answer.ok) return;
        const curve = await answer.json();
        const since = this.data;
        this.data = [[], [], [], []];
        curve.time_second.forEach((time, index) => this.push(time, curve.ampere[index], curve.volt[index]));
        since[0].forEach((time, index) => this.push(time, since[1][index], since[3][index]));
        this.redraw();
    }

    add(told) {
        this.push(told.time_second, told.ampere, told.volt);
        this.redraw();
    }

    push(time, ampere, volt) {
        const [times, currents, limits, volts] = this.data;
        if (time < 0.1 || (times.length && time <= times[times.length - 1])) return;
        times.push(time);
        currents.push(ampere > 0 ? ampere : null);
        limits.push(this.limit);
        volts.push(volt);
        if (MOST < times.length) this.thin();
    }

    // Of the older half every second point goes.
    thin() {
        const half = MOST / 2;
        this.data = this.data.map((column) => column.filter((_, index) => half < index || index % 2 === 0));
    }

    redraw() {
        this.place.dataset.points = String(this.data[0].length);
        if (this.due || document.hidden) return;
        this.due = true;
        requestAnimationFrame(() => {
            this.due = false;
            this.chart.setData(this.data);
        });
    }
}

// Several curves, each with its own limit.
async function overlay(place) {
    const ids = place.dataset.runs.split(" ");
    const curves = await Promise.all(ids.map(async (id) => {
        const answer = await fetch(`/api/runs/${encodeURIComponent(id)}/curve`);
        return answer.json();
    }));
    const tables = [];
    const series = [moment];
    curves.forEach((curve, index) => {
        const kept = curve.time_second.map((time, at) => [time, curve.ampere[at]]).filter(([time]) => 0.1 <= time);
        const times = kept.map(([time]) => time);
        const stroke = colour(HUES[index]);
        tables.push([times, kept.map(([, ampere]) => (ampere > 0 ? ampere : null)), times.map(() => curve.limit_ampere)]);
        series.push({ label: `${curve.run} ${curve.part}`, scale: "A", stroke, width: 2, dash: DASHES[index], spanGaps: true, points: { show: false }, value: (_, value) => amperes(value) });
        series.push({ label: `${curve.run} limit`, scale: "A", stroke, width: 1, dash: [4, 6], spanGaps: true, points: { show: false }, value: (_, value) => amperes(value) });
    });
    draw(place, series, uPlot.join(tables), false);
    place.dataset.points = String(curves.reduce((sum, curve) => sum + curve.time_second.length, 0));
    place.dataset.curves = String(curves.length);
}

let live = null;
const growing = document.querySelector('[data-chart="live"]');
if (growing) live = new Live(growing, growing.closest("[data-run], .run"));
const laid = document.querySelector('[data-chart="overlay"]');
if (laid) overlay(laid);

listen();
