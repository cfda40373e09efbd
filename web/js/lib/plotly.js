/** plotly, fetched from this service when the first chart is drawn. */

const ADDRESS = "/static/plotly.min.js";

let arriving = null;

/** @returns the Plotly object; throws an Error fit for the page where it cannot be had. */
export function plotly() {
  arriving ??= new Promise((resolve, reject) => {
    const script = document.createElement("script");
    script.src = ADDRESS;
    script.onload = () => resolve(globalThis.Plotly);
    script.onerror = () => {
      arriving = null;
      reject(new Error("The charts could not be loaded from the service."));
    };
    document.head.append(script);
  });
  return arriving;
}
