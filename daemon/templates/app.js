"use strict";
// The station's day without signal: what is pressed is kept on this phone and goes out by itself.
(() => {
  const names = { launch: "Launch", recovery: "Recovery", reading: "Reading", work: "Work" };
  const forms = [...document.querySelectorAll("form[data-queue]")];
  const section = document.getElementById("kept");
  const secure = self.isSecureContext && "indexedDB" in self;
  let [state, status, until] = ["", 0, 0];
  let again;
  const me = document.querySelector("form[data-who]")?.dataset.who;

  const time = (entry) => new Date(entry.at).toLocaleString([], {
    day: "numeric", month: "short", hour: "2-digit", minute: "2-digit",
  });
  const what = (entry) => {
    const fields = entry.fields;
    if (entry.what === "work") return `${fields.item}, ${fields.rule}`;
    if (entry.what === "reading") return `${names.reading} ${fields.reading} of ${fields.host}`;
    return names[entry.what];
  };
  const stands = (entry) => {
    if (entry.state === "refused") return `refused, because ${entry.because}`;
    if (entry.state === "sent") return "sent";
    return entry.tried ? "kept here; it may have arrived, and goes out again until that is known" : "kept here";
  };

  const line = (entry) => {
    const item = document.createElement("li");
    item.dataset.state = entry.state;
    item.append(`${time(entry)}: ${what(entry)} — `);
    const word = document.createElement("b");
    word.textContent = stands(entry);
    item.append(word);
    const own = !me || !entry.who || entry.who === me;
    if (!own) item.append(` (made by ${entry.who})`);
    // Gone from here, an entry that arrived all the same would stand in the log unseen.
    if (own && entry.state !== "sent" && !(entry.state === "kept" && entry.tried)) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = entry.state === "kept" ? "Take it back" : "Remove it";
      button.setAttribute("aria-label", `${button.textContent}: ${what(entry)}, ${time(entry)}`);
      button.onclick = async () => {
        await kept.takeBack(entry.key);
        await show();
      };
      item.append(" ", button);
    }
    return item;
  };

  const clock = (off) => {
    if (!off || Math.abs(off) < 60) return "";
    const way = off > 0 ? "fast" : "slow";
    const clocks = [new Date(), new Date(Date.now() - off * 1000)].map((at) => at.toLocaleString([], {
      day: "numeric", month: "short", hour: "2-digit", minute: "2-digit",
    }));
    const noted = Math.abs(off) > 600 ? " Times are put right by that, and the record says so." : "";
    return ` This phone's clock is ${way}: it says ${clocks[0]}, the service ${clocks[1]}.${noted}`;
  };
  const says = (waiting) => {
    if (waiting === 0) return "";
    if (state === "sign in") return "Sign in to send. ";
    if (state === "not yours") return "Who is signed in may not log here; whoever may signs in to send. ";
    if (state === "fault") {
      const at = new Date(until).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
      return `There is signal, but the service did not take them in (answer ${status}). They stay here, and go out again at ${at}. `;
    }
    if (state === "somebody else") return "Some entries are somebody else's, who signs in to send them. ";
    return "They go out by themselves once there is signal; a restart loses nothing. ";
  };

  const show = async () => {
    if (!section) return;
    await kept.tidy();
    const entries = (await kept.all()).slice(0, 50);
    const waiting = entries.filter((entry) => entry.state === "kept").length;
    const off = await kept.known("off");
    document.getElementById("kept-says").textContent = says(waiting) + clock(off).trim();
    if (waiting > 0 && state === "sign in") {
      const link = document.createElement("a");
      link.href = `/sign-in?next=${encodeURIComponent(location.pathname)}`;
      link.className = "press";
      link.textContent = "Sign in";
      document.getElementById("kept-says").append(link);
    }
    document.getElementById("kept-list").replaceChildren(...entries.map(line));
    section.hidden = entries.length === 0 && !(off && Math.abs(off) >= 60);
  };

  const send = async () => {
    const done = await kept.send();
    [state, status, until] = [done.state, done.status, done.until];
    clearTimeout(again);
    if (state === "fault") again = setTimeout(send, Math.max(1000, until - Date.now()));
    await show();
    // The page then says what was recorded, and the dates that moved.
    if (done.sent > 0) location.reload();
  };

  const fields = (form, submitter) => {
    const data = new FormData(form, submitter);
    const pairs = [...data].filter(([name, value]) => typeof value === "string" && !["token", "key"].includes(name));
    return Object.fromEntries(pairs);
  };

  const keep = async (form, submitter) => {
    const all = fields(form, submitter);
    const day = form.dataset.queue !== "work" && all.at ? new Date(all.at) : new Date();
    if (form.dataset.queue !== "work") delete all.at;
    await kept.put({
      key: form.elements.key.value,
      what: form.dataset.queue === "work" ? "work" : all.what,
      at: day.toISOString(),
      off_s: all.at || day.getTime() < Date.now() - 5000 ? 0 : (await kept.known("off")) ?? null,
      who: form.dataset.who,
      station: form.dataset.station,
      fields: all,
      state: "kept",
      tried: false,
      because: "",
      made: Date.now(),
    });
    form.elements.key.value = crypto.randomUUID();
    form.reset();
  };

  const askSync = async () => {
    const ready = await navigator.serviceWorker?.ready;
    try {
      await ready?.sync?.register("tallow-send");
    } catch {
      // Not everywhere: the page itself sends when it is opened, and when the signal comes back.
    }
  };

  const submit = async (event) => {
    const [form, submitter] = [event.target, event.submitter];
    if (form.dataset.sending === "native") return;
    event.preventDefault();
    // A second press while the first is being kept is the same press.
    if (form.dataset.sending) return;
    form.dataset.sending = "yes";
    try {
      if (form.dataset.queue === "work") {
        // With signal the service judges the readings first, and asks once more where they want it.
        const said = await kept.word(form.dataset.station).catch(() => ({ state: "away" }));
        if (said.state === "in") {
          form.elements.token.value = said.token;
          form.dataset.sending = "native";
          form.requestSubmit(submitter);
          return;
        }
        state = said.state;
      }
      await keep(form, submitter);
      await show();
      section?.scrollIntoView({ block: "nearest" });
      askSync();
      await send();
    } finally {
      delete form.dataset.sending;
    }
  };

  const judge = (form) => {
    const list = document.getElementById("judged");
    let timer;
    form.addEventListener("input", () => {
      clearTimeout(timer);
      timer = setTimeout(async () => {
        const readings = Object.entries(fields(form, null)).filter(([name, value]) => /^m\d+$/.test(name) && value);
        const query = new URLSearchParams(readings);
        try {
          const answer = await fetch(`${form.dataset.judge}&${query}`, { signal: AbortSignal.timeout(5000) });
          if (!answer.ok) return;
          const said = await answer.json();
          list.dataset.verdict = said.verdict;
          list.replaceChildren(...[...said.wrong, ...said.says].map((text) => {
            const item = document.createElement("li");
            item.textContent = text;
            return item;
          }));
        } catch {
          // Without signal it is judged when it is sent.
        }
      }, 400);
    });
  };

  document.querySelectorAll("form[data-judge]").forEach(judge);
  if (!secure) return;
  for (const form of forms) {
    // A page kept on the phone is opened more than once: each time under a key of its own.
    form.elements.key.value = crypto.randomUUID();
    form.addEventListener("submit", submit);
  }
  addEventListener("online", send);
  navigator.serviceWorker?.addEventListener("message", (event) => {
    if (event.data?.sent > 0) location.reload();
    else show();
  });
  navigator.serviceWorker?.register("/sw.js").then(async () => {
    const ready = await navigator.serviceWorker.ready;
    const pages = [...document.querySelectorAll("a[data-keep][href^='/work/']")].slice(0, 24).map((link) => link.href);
    const card = document.querySelector("a[href$='/card']")?.href;
    ready.active?.postMessage({ keep: [location.href.split("#")[0], card, ...pages].filter(Boolean) });
  }).catch(() => {});
  show().then(send);
})();
