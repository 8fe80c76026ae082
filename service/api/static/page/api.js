// The service: one question at a time, refusals and a silent network told in words.

/** @typedef {{pointer: string, detail: string}} Fault */

/** The service refused the request and said what to change. */
export class Refused extends Error {
  /** @param {{title?: string, detail?: string, errors?: Fault[], status?: number}} problem */
  constructor(problem) {
    super(problem.detail || problem.title || "The service refused the request.");
    this.name = "Refused";
    /** @type {Fault[]} */
    this.faults = problem.errors?.length ? problem.errors : [{ pointer: "", detail: this.message }];
  }
}

/** No answer came, or none that can be read. */
export class Unreachable extends Error {
  /** @param {string} message */
  constructor(message) {
    super(message);
    this.name = "Unreachable";
  }
}

/** An address of the service, seen from the page. @param {string} path */
export const addressOf = (path) => new URL(path.replace(/^\//, ""), document.baseURI).href.split("#")[0];

/**
 * @param {string} path
 * @param {RequestInit} options
 * @returns {Promise<Response>}
 */
async function sent(path, options) {
  try {
    return await fetch(addressOf(path), { cache: "no-store", ...options });
  } catch (error) {
    if (options.signal?.aborted) throw error;
    throw new Unreachable("The server did not answer. Look whether it still runs and the network is there, then try again; what you typed is still here.");
  }
}

/** @param {Response} response @returns {Promise<never>} */
async function refused(response) {
  const type = response.headers.get("content-type") ?? "";
  if (type.includes("json")) throw new Refused(await response.json());
  if (response.status === 503 || response.status === 429) throw new Unreachable("The server is busy. Try again in a moment.");
  throw new Unreachable(`The server answered with status ${response.status} and no reason that this page can read.`);
}

/** Read an answer as JSON. @param {Response} response */
async function read(response) {
  if (!response.ok) await refused(response);
  try {
    return await response.json();
  } catch (error) {
    if (error instanceof DOMException) throw error;
    throw new Unreachable("The answer broke off before it was complete. Try again.");
  }
}

/** Fetch a list that the service keeps. @param {string} path */
export const fetched = async (path) => read(await sent(path, { cache: "default" }));

/** @param {any} body @param {string} accept @param {AbortSignal} signal @returns {RequestInit} */
const posted = (body, accept, signal) => ({
  method: "POST",
  headers: { "Content-Type": "application/json", Accept: accept },
  body: JSON.stringify(body),
  signal,
});

/**
 * Ask a question.
 * @param {string} path
 * @param {any} body
 * @param {AbortSignal} signal
 */
export const ask = async (path, body, signal) => read(await sent(path, posted(body, "application/json", signal)));

/**
 * Ask a question that takes its time; a server that tells no progress answers at once.
 * @param {string} path
 * @param {any} body
 * @param {AbortSignal} signal
 * @param {(done: number, of: number | null) => void} onProgress
 */
export async function askSlowly(path, body, signal, onProgress) {
  const response = await sent(path, posted(body, "application/x-ndjson, application/json;q=0.9", signal));
  const type = response.headers.get("content-type") ?? "";
  if (!response.ok || !type.includes("ndjson") || !response.body) return read(response);
  for await (const line of linesOf(response.body, signal)) {
    const told = JSON.parse(line);
    if (told.progress) onProgress(told.progress.done, told.progress.of);
    if (told.problem) throw new Refused(told.problem);
    if (told.result) return told.result;
  }
  throw new Unreachable("The connection ended before the answer was complete. Try again.");
}

/**
 * The lines of a stream as they arrive.
 * @param {ReadableStream<Uint8Array>} stream
 * @param {AbortSignal} signal
 */
async function* linesOf(stream, signal) {
  const reader = stream.getReader();
  const decoder = new TextDecoder();
  let kept = "";
  try {
    while (true) {
      const { done, value } = await reader.read();
      kept += done ? decoder.decode() : decoder.decode(value, { stream: true });
      const lines = kept.split("\n");
      kept = done ? "" : (lines.pop() ?? "");
      for (const line of lines) if (line.trim()) yield line;
      if (done) return;
    }
  } catch (error) {
    if (signal.aborted) throw error;
    throw new Unreachable("The connection ended before the answer was complete. Try again.");
  } finally {
    reader.cancel().catch(() => undefined);
  }
}

/**
 * One question in flight: a new one ends the one before.
 * @returns {() => AbortSignal}
 */
export function oneAtATime() {
  let last = new AbortController();
  return () => {
    last.abort();
    last = new AbortController();
    return last.signal;
  };
}
