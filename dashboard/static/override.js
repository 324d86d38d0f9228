// A batch that waits for its open checks: what they say, and a named person's reason to go on.
export function makeOverride(form, send, record) {
  const fault = form.querySelector(".fault");
  let from = null, read = "", stops = [];

  async function load(id) {
    try {
      fault.textContent = "";
      const { plan } = await record(id);
      stops = (plan?.checks ?? []).filter(c => c.level === "stop");
      form.querySelector("#checks").replaceChildren(...stops.map(c => Object.assign(document.createElement("li"), { textContent: `${c.id}: ${c.figure}, limit ${c.limit}. ${c.do ?? ""}` })));
    } catch (e) {
      fault.textContent = e.message;
    }
  }

  form.onsubmit = async e => {
    e.preventDefault();
    const { reason, operator } = form.elements;
    for (const c of stops) await send(from, "override", { check: c.id, reason: reason.value, operator: operator.value }, t => (fault.textContent = t));
  };

  return function update(snap, waiting) {
    from = snap;
    if (waiting && read !== snap.batch.id) { stops = []; load(read = snap.batch.id); }
    form.hidden = !(waiting && stops.length);
    return !form.hidden;
  };
}
