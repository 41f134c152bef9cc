// Talks to the server. Every request says which page it comes from, so that newer ones overtake older ones.

export const page = Math.random().toString(36).slice(2) + Date.now().toString(36);

export class Refused extends Error {
  constructor(error) {
    super(error.problem);
    this.field = error.field;
    this.problem = error.problem;
    this.hint = error.hint;
  }
  get words() { return sentence(this); }
}

export function sentence(error) {
  const first = error.problem ? error.problem[0].toUpperCase() + error.problem.slice(1) : "";
  const hint = error.hint ? " " + error.hint[0].toUpperCase() + error.hint.slice(1) + "." : "";
  return first + "." + hint;
}

const headers = { "Content-Type": "application/json", "X-Gougeform": "page" };

// The answer, or null where a newer request has overtaken this one. Throws Refused.
export async function ask(path, what, lane = "") {
  let got;
  try {
    got = await fetch("/do/" + path, {
      method: "POST",
      headers,
      body: JSON.stringify({
        ...what,
        page,
        lane
      })
    });
  } catch {
    throw new Refused({
      field: "",
      problem: "the workbench does not answer",
      hint: "look whether its terminal is still open; what is on the bench stays in the address"
    });
  }
  const kind = got.headers.get("Content-Type") || "";
  if (!kind.includes("json")) throw new Refused({
    field: "",
    problem: got.status === 413 ?
      "that is larger than the workbench takes" : `the workbench refused (${got.status})`,
    hint: ""
  });
  const value = await got.json();
  if (value.error) throw new Refused(value.error);
  return value.superseded ? null : value;
}

// A job of seconds. tell(share, words) is called now and then; stop() on the returned handle ends it.
export function job(name, what, tell) {
  const control = new AbortController();
  const answer = (async () => {
    const got = await fetch("/long/" + name, {
      method: "POST",
      headers,
      body: JSON.stringify({
        ...what,
        page
      }),
      signal: control.signal
    });
    const reader = got.body.pipeThrough(new TextDecoderStream()).getReader();
    let text = "";
    for (;;) {
      const { done, value } = await reader.read();
      if (value) text += value;
      let end;
      while ((end = text.indexOf("\n")) >= 0) {
        const word = JSON.parse(text.slice(0, end));
        text = text.slice(end + 1);
        if (word.error) throw new Refused(word.error);
        if ("answer" in word) return word.answer;
        tell(word.share, word.words, word);
      }
      if (done) {
        if (text.trim()) {
          const word = JSON.parse(text);
          if (word.error) throw new Refused(word
            .error);
        }
        throw new Refused({ field: "", problem: "the job ended without an answer", hint: "try again" });
      }
    }
  })();
  return { answer, stop: () => control.abort() };
}

export function floats(text, Kind = Float32Array) {
  const raw = atob(text),
    bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return new Kind(bytes.buffer);
}

export function save(file) {
  const bytes = floats(file.data, Uint8Array);
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([bytes], { type: file.type }));
  link.download = file.name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}
