"use strict";
// What this phone keeps until it can be sent. The page and the service worker share it.
self.kept = (() => {
  const BATCH = 50;
  const DAY = 24 * 60 * 60 * 1000;
  const FIRST_WAIT = 30 * 1000;
  const LONGEST_WAIT = 15 * 60 * 1000;
  // Answers that the service gives before it records anything of a sending.
  const BEFORE = [400, 401, 403, 413, 415, 429];

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
  // Changes an entry that is still there, in one turn with looking at it.
  const change = (key, work) => run("entries", "readwrite", (store) => {
    const found = store.get(key);
    found.onsuccess = () => found.result && work(store, found.result);
    return found;
  });
  // What was sent and not answered may have arrived: it is sent again until it is answered, and undone there.
  const takeBack = (key) => change(key, (store, entry) => {
    if (!(entry.state === "kept" && entry.tried)) store.delete(key);
  });
  const mark = (entry, tried) => {
    entry.tried = tried;
    return change(entry.key, (store, found) => store.put({ ...found, off_s: entry.off_s, tried }));
  };
  const know = (name, value) => run("known", "readwrite", (store) => store.put(value, name));
  const known = (name) => run("known", "readonly", (store) => store.get(name));

  const after = (answer) => 1000 * (Number.parseInt(answer.headers.get("retry-after"), 10) || 0);

  // A fresh word, who is signed in, and how far this clock is off the service's.
  const word = async (station) => {
    const path = `/station/${encodeURIComponent(station)}/log/queue`;
    const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(8000) });
    const heard = Date.parse(answer.headers.get("date"));
    if (!Number.isNaN(heard)) await know("off", Math.round((Date.now() - heard) / 1000));
    if (answer.status === 401) return { state: "sign in" };
    if (answer.status === 403) return { state: "not yours" };
    if (!answer.ok) return { state: "fault", status: answer.status, after: after(answer) };
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

  const post = async (word, asked) => {
    // A clock that was never measured before is measured now, and so the same for every copy.
    for (const entry of asked.filter((one) => one.off_s === null)) {
      entry.off_s = (await known("off")) ?? 0;
    }
    const first = asked.filter((entry) => !entry.tried);
    // What was taken back while the sending was made up does not go.
    const entries = [];
    for (const entry of asked) if (await mark(entry, true)) entries.push(entry);
    if (entries.length === 0) return { state: "in", sent: 0 };
    const body = entries.map(({ key, what, at, off_s, who, fields }) => ({ key, what, at, off_s, who, fields }));
    const answer = await fetch(word.path, {
      method: "POST",
      headers: { "content-type": "application/json", "x-token": word.token },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(30000),
    });
    if (answer.ok) return { state: "in", sent: await settle(entries, await answer.json()) };
    if (BEFORE.includes(answer.status)) for (const entry of first) await mark(entry, false);
    if (answer.status === 401) return { state: "sign in", sent: 0 };
    return { state: "fault", status: answer.status, after: after(answer), sent: 0 };
  };

  // A sending that the service cannot read is sent entry by entry, so that one bad entry holds nothing else up.
  const postAll = async (word, entries) => {
    const done = await post(word, entries);
    if (done.state !== "fault" || ![400, 413].includes(done.status)) return done;
    if (entries.length === 1) {
      const because = `the service cannot read it (${done.status}); write it up on paper and tell the engineer`;
      await put({ ...entries[0], state: "refused", because });
      return { state: "in", sent: 0 };
    }
    let sent = 0;
    for (const entry of entries) {
      const one = await postAll(word, [entry]);
      sent += one.sent;
      if (one.state !== "in") return { ...one, sent };
    }
    return { state: "in", sent };
  };

  // After a fault of the service the next try waits twice as long, up to a quarter of an hour.
  const waits = async (said) => {
    const before = (await known("wait"))?.times ?? 0;
    const longer = Math.min(LONGEST_WAIT, FIRST_WAIT * 2 ** Math.min(before, 10));
    const until = Date.now() + Math.max(longer, Math.min(said.after ?? 0, LONGEST_WAIT));
    await know("wait", { times: before + 1, until, status: said.status });
    return until;
  };

  const sendNow = async () => {
    const entries = (await all()).filter((entry) => entry.state === "kept").reverse();
    const wait = await known("wait");
    // Farther off than any wait is, the phone's clock was put right meanwhile.
    const left = wait ? wait.until - Date.now() : 0;
    if (entries.length > 0 && left > 0 && left <= LONGEST_WAIT) {
      return { state: "fault", status: wait.status, until: wait.until, sent: 0 };
    }
    let [sent, state] = [0, "nothing"];
    for (const station of new Set(entries.map((entry) => entry.station))) {
      const here = entries.filter((entry) => entry.station === station);
      const said = await word(station);
      state = said.state;
      if (state === "fault") return { ...said, sent, until: await waits(said) };
      if (state !== "in") return { state, sent };
      const mine = here.filter((entry) => entry.who === said.who);
      if (mine.length < here.length) state = "somebody else";
      for (let at = 0; at < mine.length; at += BATCH) {
        const done = await postAll(said, mine.slice(at, at + BATCH));
        sent += done.sent;
        if (done.state === "fault") return { ...done, sent, until: await waits(done) };
        if (done.state !== "in") return { state: done.state, sent };
      }
    }
    if (wait) await know("wait", null);
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

  return { all, put, takeBack, known, word, send, tidy };
})();
