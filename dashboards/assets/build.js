// The build this script is of, and the way to the server's own.

export const BUILD = new URL(import.meta.url).pathname.split("/")[2]; // /static/BUILD/build.js
const TRIED = "holdwatch.builds"; // what this window was loaded anew for: each once, or it might never end

export function renew(build) {
  const tried = JSON.parse(sessionStorage.getItem(TRIED) ?? "[]");
  if (tried.includes(build)) return;
  sessionStorage.setItem(TRIED, JSON.stringify([...tried, build]));
  location.reload();
}
