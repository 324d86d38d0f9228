// Calls to /api/v1. A refusal or a lost connection becomes an Error whose message is a sentence for a person.
export async function api(method, path, body) {
  let answer;
  try {
    answer = await fetch("/api/v1" + path, { method, headers: body && { "Content-Type": "application/json" }, body: body && JSON.stringify(body) });
  } catch {
    throw new Error("The station does not answer. Is it running, and is this display on its network?");
  }
  const text = await answer.text();
  const json = /json/.test(answer.headers.get("Content-Type") ?? "") ? JSON.parse(text) : null;
  if (answer.ok) return json;
  throw Object.assign(new Error(json?.detail ?? json?.title ?? `The station refused (${answer.status}).`), { status: answer.status });
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
