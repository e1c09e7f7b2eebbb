// What this device remembers: sound, theme, keys, the token. Nothing of a job.

const NAME = "panbell.settings";
const USUAL = {
  volume: 0.5,
  silent: false,
  theme: "auto",
  keys: { take: [" "], withdraw: ["Backspace"], next: ["n", "Enter"] },
};

function stored(name) {
  try { return localStorage.getItem(name); } catch { return null; }
}

function store(name, text) {
  try { localStorage.setItem(name, text); } catch { /* a private window forgets */ }
}

/** The settings, those that were never changed as they are usual. */
export function settings() {
  try {
    const kept = JSON.parse(stored(NAME) ?? "{}");
    return { ...USUAL, ...kept, keys: { ...USUAL.keys, ...kept.keys } };
  } catch {
    return structuredClone(USUAL);
  }
}

/** Changes some of them. */
export function change(some) {
  const all = { ...settings(), ...some };
  store(NAME, JSON.stringify(all));
  return all;
}

export const usualKeys = () => structuredClone(USUAL.keys);

/** Shows the theme that was chosen. */
export function dress() {
  const { theme } = settings();
  if (theme === "auto") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = theme;
}

/** The token of the address, taken out of it, or the one kept. */
export function token() {
  const given = /[#&]token=([0-9a-fA-F]+)/.exec(location.hash);
  if (given) {
    store("panbell.token", given[1]);
    history.replaceState(null, "", location.pathname + location.search);
    return given[1];
  }
  return stored("panbell.token") ?? "";
}
