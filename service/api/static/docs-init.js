// Starts the vendored documentation page. Nothing is fetched from another host; the online validator is off.
window.addEventListener("load", function () {
  window.SwaggerUIBundle({
    url: "v1/openapi.json",
    dom_id: "#documentation",
    deepLinking: true,
    validatorUrl: null,
    presets: [window.SwaggerUIBundle.presets.apis],
    layout: "BaseLayout",
    defaultModelsExpandDepth: 0,
  });
});
