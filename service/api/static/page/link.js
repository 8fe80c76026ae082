// The request in the address of the page, after the #: it can be bookmarked, and no server sees it.

const START = "#request=";

/** @param {any} request @returns {string} */
function written(request) {
  const bytes = new TextEncoder().encode(JSON.stringify(request));
  const text = btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
  return text.replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

/** Keep a request in the address. @param {any} request */
export function keepInAddress(request) {
  history.replaceState(null, "", START + written(request));
}

/** Take the request out of the address. */
export function clearAddress() {
  history.replaceState(null, "", location.pathname + location.search);
}

/** The request that the address holds: null where there is none, undefined where it cannot be read. @returns {any} */
export function fromAddress() {
  if (!location.hash.startsWith(START)) return null;
  try {
    const text = atob(location.hash.slice(START.length).replaceAll("-", "+").replaceAll("_", "/"));
    const request = JSON.parse(new TextDecoder().decode(Uint8Array.from(text, (c) => c.charCodeAt(0))));
    return request !== null && typeof request === "object" && !Array.isArray(request) ? request : undefined;
  } catch {
    return undefined;
  }
}
