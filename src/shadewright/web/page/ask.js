// Questions to the program behind the page: latest wins, and a lost connection is waited out, never a lost design.

/** What the program answered with, in its own sentence. */
export class Refused extends Error {
  constructor(sentence, status, body) {
    super(sentence);
    this.status = status;
    this.body = body;
  }
}

/** The program cannot be reached. */
export class Unreachable extends Error {}

let token = null;

/** The token that a bench on another machine asks for; it is sent with every question. */
export function useToken(given) {
  token = given;
}

function headers(extra) {
  return token ? { ...extra, Authorization: `Bearer ${token}` } : extra;
}

/** Ask and read the answer as JSON. Raises Refused or Unreachable; an aborted question raises AbortError. */
export async function ask(where, body, { signal, method } = {}) {
  const options = {
    signal,
    method: method ?? (body === undefined ? "GET" : "POST"),
    headers: headers({ Accept: "application/json" }),
  };
  if (body !== undefined) {
    options.headers["Content-Type"] = "application/json";
    options.body = JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(`/api/${where}`, options);
  } catch (fault) {
    if (fault.name === "AbortError") throw fault;
    throw new Unreachable("The program does not answer.");
  }
  if (answer.status === 204) return null;
  let read;
  try {
    read = await answer.json();
  } catch (fault) {
    if (fault.name === "AbortError") throw fault;
    throw new Refused(
      `The program answered with something else than expected (${answer.status}).`,
      answer.status,
      null,
    );
  }
  if (!answer.ok) throw new Refused(read.sentence ?? `Refused (${answer.status}).`, answer.status, read);
  return read;
}

/** Send a file's bytes and read the answer as JSON. Raises Refused or Unreachable. */
export async function send(where, file) {
  let answer;
  try {
    answer = await fetch(`/api/${where}`, {
      method: "POST",
      headers: headers({ "Content-Type": "application/octet-stream" }),
      body: file,
    });
  } catch {
    throw new Unreachable("The program does not answer.");
  }
  const read = await answer.json();
  if (!answer.ok) throw new Refused(read.sentence ?? `Refused (${answer.status}).`, answer.status, read);
  return read;
}

/** A file that a job has made, as a Blob. */
export async function fetchFile(job, name) {
  const answer = await fetch(`/api/jobs/${job}/files/${encodeURIComponent(name)}`, { headers: headers({}) });
  if (!answer.ok) throw new Refused(`${name} is not there any more; make it again.`, answer.status, null);
  return answer.blob();
}

/**
 * One question at a time, the newest next: while one is being answered, later ones replace each other.
 * A moving slider so gets every answer that there is time for, and always the last one.
 */
export class Latest {
  constructor(put, take, fail) {
    this.put = put;
    this.take = take;
    this.fail = fail;
    this.busy = false;
    this.waiting = null;
  }

  /** Ask `question` when the one before is answered, unless a newer one comes first. */
  want(question) {
    this.waiting = question;
    if (!this.busy) this.next();
  }

  async next() {
    const question = this.waiting;
    if (question === null) return;
    this.waiting = null;
    this.busy = true;
    try {
      this.take(await this.put(question), question);
    } catch (fault) {
      this.fail(fault, question);
    } finally {
      this.busy = false;
    }
    this.next();
  }
}
