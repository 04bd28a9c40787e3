// The server's interface; openapi.yaml describes it.

export class Problem extends Error {
  constructor(status, title, advice) {
    super(title);
    Object.assign(this, { status, title, advice });
  }
}

async function ask(method, path, body, signal) {
  let r;
  try {
    r = await fetch("/api/v1" + path, {
      method, signal,
      headers: { "X-Dentcount": "page", ...(body === undefined ? {} : { "Content-Type": "application/json" }) },
      body: body === undefined ? undefined : JSON.stringify(body),
    });
  } catch (err) {
    if (err.name === "AbortError") throw err;
    throw new Problem(0, "no-server");
  }
  if (!r.ok) throw await problemOf(r);
  return r;
}

async function problemOf(r) {
  const p = await r.json().catch(() => ({}));
  return new Problem(r.status, p.title || r.statusText, p.advice);
}

const json = async (...args) => (await ask(...args)).json();
export const get = (path, signal) => json("GET", path, undefined, signal);
export const post = (path, body) => json("POST", path, body);
export const put = (path, body, signal) => json("PUT", path, body, signal);
export const patch = (path, body) => json("PATCH", path, body);
export const drop = (path) => ask("DELETE", path);
export const file = async (method, path, body) => (await ask(method, path, body)).blob();

// send sends a photo as it is, whole: shrinking it would cost accuracy.
// told(share) hears how much has gone.
export function send(photo, facts, told, signal) {
  const query = new URLSearchParams({ name: photo.name || "photo" });
  for (const [k, v] of Object.entries(facts)) if (v) query.set(k, v);
  return new Promise((done, failed) => {
    const x = new XMLHttpRequest();
    x.open("POST", "/api/v1/photos?" + query);
    x.setRequestHeader("X-Dentcount", "page");
    x.setRequestHeader("Content-Type", "application/octet-stream");
    x.responseType = "json";
    x.upload.onprogress = (e) => e.lengthComputable && told(e.loaded / e.total);
    x.onload = () => {
      if (x.status < 300) done(x.response);
      else failed(new Problem(x.status, x.response?.title || x.statusText, x.response?.advice));
    };
    x.onerror = () => failed(new Problem(0, "no-server"));
    x.onabort = () => failed(new DOMException("stopped", "AbortError"));
    signal?.addEventListener("abort", () => x.abort());
    x.send(photo);
  });
}

const pause = (ms) => new Promise((r) => setTimeout(r, ms));

// measured sends a photo and waits for its answer. told hears
// {sent: share} and then the photo as it stands.
export async function measured(photo, facts, told, signal) {
  let p;
  for (;;) {
    try {
      p = await send(photo, facts, (share) => told({ sent: share }), signal);
      break;
    } catch (err) {
      if (err.status !== 503) throw err;
      told({ busy: true });
      await pause(2000);
    }
  }
  const forget = () => drop("/photos/" + p.id).catch(() => {});
  signal?.addEventListener("abort", forget);
  while (p.state === "waiting" || p.state === "measuring") {
    told(p);
    await pause(250);
    p = await get("/photos/" + p.id + "?wait=1", signal);
  }
  signal?.removeEventListener("abort", forget);
  if (p.state === "failed") throw new Problem(p.problem.status, p.problem.title, p.problem.advice);
  return p;
}
