// One stream of events for all pages of a browser: a browser opens only six connections to an
// address, and a cut-out must never have to wait for one of them.
"use strict";

const pages = new Set();
const newest = new Map();
const source = new EventSource("/api/events");

function tell(message) {
    for (const page of pages) page.postMessage(message);
}

for (const kind of ["station", "reading", "missed", "alive"]) {
    source.addEventListener(kind, (event) => {
        const message = { kind, data: JSON.parse(event.data) };
        if (message.data.station) newest.set(kind + " " + message.data.station, message);
        // The readings of a run end with it.
        if (kind === "station" && !message.data.going) newest.delete("reading " + message.data.station);
        tell(message);
    });
}
source.onerror = () => tell({ kind: "lost" });

onconnect = (event) => {
    const page = event.ports[0];
    pages.add(page);
    page.onmessage = () => pages.delete(page);
    for (const message of newest.values()) page.postMessage(message);
    if (source.readyState === EventSource.OPEN) page.postMessage({ kind: "alive", data: {} });
};
