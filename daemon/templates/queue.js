"use strict";
// What this phone keeps until it can be sent. The page and the service worker share it.
self.kept = (() => {
  const BATCH = 50;
  const DAY = 24 * 60 * 60 * 1000;

  const open = () => new Promise((done, failed) => {
    const request = indexedDB.open("tallow", 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("entries", { keyPath: "key" });
      request.result.createObjectStore("known");
    };
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });

  const run = async (store, mode, work) => {
    const db = await open();
    try {
      return await new Promise((done, failed) => {
        // Strict: an entry is on the disk before the page says that it is kept.
        const turn = db.transaction(store, mode, { durability: "strict" });
        const request = work(turn.objectStore(store));
        turn.oncomplete = () => done(request.result);
        turn.onabort = turn.onerror = () => failed(turn.error);
      });
    } finally {
      db.close();
    }
  };

  const all = async () => {
    const found = await run("entries", "readonly", (store) => store.getAll());
    return found.sort((a, b) => b.made - a.made);
  };
  const put = (entry) => run("entries", "readwrite", (store) => store.put(entry));
  const drop = (key) => run("entries", "readwrite", (store) => store.delete(key));
  const know = (name, value) => run("known", "readwrite", (store) => store.put(value, name));
  const known = (name) => run("known", "readonly", (store) => store.get(name));

  // A fresh word, who is signed in, and how far this clock is off the service's.
  const word = async (station) => {
    const path = `/station/${encodeURIComponent(station)}/log/queue`;
    const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(8000) });
    const heard = Date.parse(answer.headers.get("date"));
    if (!Number.isNaN(heard)) await know("off", Math.round((Date.now() - heard) / 1000));
    if (answer.status === 401) return { state: "sign in" };
    if (answer.status === 403) return { state: "not yours" };
    if (!answer.ok) return { state: "away" };
    return { state: "in", path, ...(await answer.json()) };
  };

  const settle = async (entries, answers) => {
    let sent = 0;
    for (const answer of answers) {
      const entry = entries.find((one) => one.key === answer.key);
      if (!entry) continue;
      if (answer.answer === "sent") sent += 1;
      await put({ ...entry, state: answer.answer, because: answer.because });
    }
    return sent;
  };

  const post = async (word, entries) => {
    // A clock that was never measured before is measured now, and so the same for every copy.
    for (const entry of entries.filter((one) => one.off_s === null)) {
      entry.off_s = (await known("off")) ?? 0;
      await put(entry);
    }
    const body = entries.map(({ key, what, at, off_s, who, fields }) => ({ key, what, at, off_s, who, fields }));
    const answer = await fetch(word.path, {
      method: "POST",
      headers: { "content-type": "application/json", "x-token": word.token },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(30000),
    });
    if (!answer.ok) return null;
    return settle(entries, await answer.json());
  };

  const sendNow = async () => {
    const entries = (await all()).filter((entry) => entry.state === "kept").reverse();
    let [sent, state] = [0, "nothing"];
    for (const station of new Set(entries.map((entry) => entry.station))) {
      const here = entries.filter((entry) => entry.station === station);
      const said = await word(station);
      state = said.state;
      if (state !== "in") return { state, sent };
      const mine = here.filter((entry) => entry.who === said.who);
      if (mine.length < here.length) state = "somebody else";
      for (let at = 0; at < mine.length; at += BATCH) {
        const done = await post(said, mine.slice(at, at + BATCH));
        if (done === null) return { state: "away", sent };
        sent += done;
      }
    }
    return { state, sent };
  };

  // One sender at a time: the page and the worker would only send the same twice.
  const send = async () => {
    try {
      return await (navigator.locks ? navigator.locks.request("tallow-send", sendNow) : sendNow());
    } catch {
      return { state: "away", sent: 0 };
    }
  };

  const tidy = async () => {
    for (const entry of await all()) {
      if (entry.state === "sent" && entry.made < Date.now() - DAY) await drop(entry.key);
    }
  };

  return { all, put, drop, known, word, send, tidy };
})();
