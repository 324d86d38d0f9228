// Calls to /api/v1. A refusal or a lost connection becomes an Error whose message is a sentence for a person; errors are
// the fields at fault, where the station names them. Another pair of parse and stringify may take the place of JSON's.
export async function api(method, path, body, { parse, stringify } = JSON) {
  let answer;
  try {
    answer = await fetch("/api/v1" + path, { method, headers: body && { "Content-Type": "application/json" }, body: body && stringify(body) });
  } catch {
    throw new Error("The station does not answer. Is it running, and is this display on its network?");
  }
  const text = await answer.text();
  const json = /json/.test(answer.headers.get("Content-Type") ?? "") ? parse(text) : null;
  if (answer.ok) return json;
  throw Object.assign(new Error(json?.detail ?? json?.title ?? `The station refused (${answer.status}).`), { status: answer.status, errors: json?.errors ?? [] });
}

export async function allMaterials() {
  const list = [];
  for (let cursor = ""; cursor !== null;) {
    const page = await api("GET", "/materials" + (cursor && "?cursor=" + encodeURIComponent(cursor)));
    list.push(...page.materials);
    cursor = page.next ?? null;
  }
  return list;
}
