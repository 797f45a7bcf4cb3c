/* What a person types about one attempt: read from its form, checked, put into words and back. */

const NUMBER = /^-?\d{1,3}(\.\d{1,3})?$/;

/* The number in a field: null where nothing stands, NaN where it is none. */
function numberIn(text) {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (plain === "") return null;
  return NUMBER.test(plain) ? Number(plain) : NaN;
}

export function fieldsOf(form) {
  return Object.fromEntries(new FormData(form));
}

export function fill(form, fields) {
  for (const [name, value] of Object.entries(fields)) {
    const input = form.elements.namedItem(name);
    if (input instanceof RadioNodeList) {
      for (const each of input) each.checked = each.value === value;
    } else if (input) {
      input.value = value;
    }
  }
}

/* Show what the choices so far ask for. */
export function show(form) {
  const { finish, outcome } = fieldsOf(form);
  form.querySelector("[data-of=jump]").hidden = finish !== "jump";
  form.querySelector("[data-of=valid]").hidden = finish !== "jump" || outcome === "no_jump";
}

/* Return { measured } as the service takes it, or { wrong, field } in words. */
export function measuredIn(fields) {
  const isJump = fields.finish === "jump";
  const numbers = {};
  for (const [name, called] of [
    ["official", "official distance"],
    ["toe", "distance of the toe"],
    ["wind", "wind"],
    ["mark", "start mark"],
  ]) {
    numbers[name] = numberIn(fields[name] ?? "");
    if (Number.isNaN(numbers[name])) {
      return { wrong: `The ${called} is no number: ${fields[name].trim()}`, field: name };
    }
  }
  if (isJump && !fields.outcome) {
    return { wrong: "Was it valid, or no jump?", field: "outcome" };
  }
  const isValid = isJump && fields.outcome === "valid";
  if (isValid && numbers.official !== null && numbers.official > 25) {
    return { wrong: "The official distance is in metres: 6.41, not 641.", field: "official" };
  }
  if (numbers.toe !== null && numbers.toe !== 0 && Math.abs(numbers.toe) < 0.5) {
    return { wrong: "The toe is in centimetres: 7, not 0.07.", field: "toe" };
  }
  if (isValid && numbers.official === null && numbers.toe === null) {
    return { wrong: "Type in the official distance, or where the toe was.", field: "official" };
  }
  if (!isJump && numbers.toe === null) {
    return { wrong: "Where was the toe? A run-through tells nothing else.", field: "toe" };
  }
  const measured = { finish: fields.finish };
  if (isJump) measured.outcome = fields.outcome;
  if (isValid && numbers.official !== null) {
    // As text: the service takes a distance as it was announced, to the centimetre.
    measured.official_m = fields.official.trim().replace(",", ".");
  }
  if (numbers.toe !== null) {
    const side = fields.toe_side === "beyond" ? -Math.abs(numbers.toe) : numbers.toe;
    measured.footfalls = { toe_m: [Number((side / 100).toFixed(5))] };
  }
  if (numbers.wind !== null) {
    measured.wind_mps = fields.wind_side === "head" ? -Math.abs(numbers.wind) : numbers.wind;
  }
  if (numbers.mark !== null) measured.start_mark_m = numbers.mark;
  return { measured };
}

/* One line about what was typed, such as "6.41 m, toe 7 cm behind the line, wind +0.8". */
export function inWords(measured) {
  const parts = [];
  if (measured.finish === "run_through") parts.push("Run-through");
  else if (measured.outcome === "no_jump") parts.push("No jump");
  else parts.push(measured.official_m ? `${measured.official_m} m` : "Valid");
  const toe = measured.footfalls?.toe_m[0];
  if (toe !== undefined) {
    const size = Number((100 * Math.abs(toe)).toFixed(1));
    parts.push(`toe ${size} cm ${toe < 0 ? "beyond" : "behind"} the line`);
  }
  if (measured.wind_mps !== undefined) {
    const size = Math.abs(measured.wind_mps).toFixed(1);
    parts.push(`wind ${measured.wind_mps < 0 ? "−" : "+"}${size}`);
  }
  if (measured.start_mark_m !== undefined) parts.push(`from ${measured.start_mark_m.toFixed(2)} m`);
  return parts.join(", ");
}
