// Light or dark as the surroundings are: JupyterLab's own theme, else the system's; paper is light.

const dark = () => window.matchMedia("(prefers-color-scheme: dark)");

/** @returns {"light" | "dark"} */
export function themeOf() {
  const lab = document.body.dataset.jpThemeLight;
  return (lab === undefined ? dark().matches : lab === "false") ? "dark" : "light";
}

/**
 * Tells each change, printing included; gives what ends it.
 * @param {(theme: "light" | "dark", now: boolean) => void} changed `now`: before printing
 */
export function watchTheme(changed) {
  const system = dark(), plain = () => changed(themeOf(), false);
  const printing = () => changed("light", true), printed = () => changed(themeOf(), true);
  const body = new MutationObserver(plain);
  body.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-light"] });
  system.addEventListener("change", plain);
  window.addEventListener("beforeprint", printing);
  window.addEventListener("afterprint", printed);
  return () => {
    body.disconnect();
    system.removeEventListener("change", plain);
    window.removeEventListener("beforeprint", printing);
    window.removeEventListener("afterprint", printed);
  };
}
