// Numbers as people read them: never a bare sign where there are words for the two ways.

export const fixed = (value, digits) => {
  const text = Math.abs(value).toFixed(digits);
  return (value < 0 && Number(text) !== 0 ? "\u2212" : "") + text;
};

export function saidTurn(value, [less, more], unit, digits = 1) {
  if (value === null || value === undefined || value !== value) return "out of reach";
  const size = Math.abs(value).toFixed(digits);
  if (Number(size) === 0) return `${size}${unit}`;
  return `${size}${unit} ${value < 0 ? less : more}`;
}

export function saidInput(input, value, digits = 1) {
  if (Number(Math.abs(value).toFixed(digits)) === 0) return "neutral";
  if (!input.signed) return saidTurn(value, input.words, input.unit, digits);
  return `${value > 0 ? "+" : ""}${fixed(value, digits)}${input.unit} ${input.name}`;
}

export function saidLength(mm, unit, signed = false) {
  if (mm === null || mm === undefined || mm !== mm) return "\u2013";
  const [per, digits] = unit === "in" ? [25.4, 3] : [1, 2];
  const text = fixed(mm / per, digits);
  return `${signed && mm > 0 && Number(text) !== 0 ? "+" : ""}${text} ${unit}`;
}

export const trimmed = (value) => String(Number(value.toPrecision(6))).replace("-", "\u2212");
