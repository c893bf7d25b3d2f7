// A map picker that needs no network: an outline of the land (GeoJSON), a point, and a circle of how exact it is.
// It only helps to fill three number boxes; typing in them works without it and moves the point.
//
// <div class="map-picker" data-map-picker data-lat-field="id_latitude" data-lon-field="id_longitude"
//      data-uncertainty-field="id_uncertainty_m" data-outline-url="…" data-centre="54.50,3.20" data-zoom="11"
//      data-label="…" data-help="…" data-attribution="…"></div>
//
// Mouse or finger: press where the animal was found. Keyboard: arrows move the map, + and - zoom, Enter takes
// the place under the cross. With data-readonly the point comes from data-lat, data-lon, data-uncertainty, and squares
// and circles with their words from the JSON in the element that data-areas names.
(() => {
  "use strict";
  const DECIMALS = 5; // about a metre
  const LOOKS = { Polygon: "land", MultiPolygon: "land", Point: "place" };

  function numberIn(field) {
    const text = field ? field.value.trim().replace(",", ".") : "";
    const number = Number(text);
    return text === "" || !Number.isFinite(number) ? null : number;
  }

  function write(field, value) {
    if (!field) return;
    field.value = value;
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }

  function isOnEarth(lat, lon) {
    return lat !== null && lon !== null && Math.abs(lat) <= 90 && Math.abs(lon) <= 180;
  }

  function nameLabel(name) { // an element, so that a name is text and never markup
    const label = document.createElement("span");
    label.textContent = name || "";
    return label;
  }

  async function drawOutline(map, url) {
    const answer = await fetch(url, { credentials: "same-origin" });
    if (!answer.ok) return;
    map.createPane("outline").style.zIndex = 300; // under the point, which may be drawn first
    L.geoJSON(await answer.json(), {
      pane: "outline",
      interactive: false,
      style: ({ geometry }) => ({ className: LOOKS[geometry.type] || "river" }),
      pointToLayer: ({ properties }, at) => L
        .circleMarker(at, { pane: "outline", radius: 4, interactive: false })
        .bindTooltip(nameLabel(properties.name), { permanent: true, direction: "right" }),
    }).addTo(map);
  }

  function drawAreas(map, { squares, circles }) {
    const drawn = [
      ...squares.map((each) => L.rectangle(each.corners, { className: `square level-${each.level}` }).bindTooltip(nameLabel(each.words))),
      ...circles.map((each) => L.circle(each.at, { radius: each.metres, className: "cluster", interactive: false })
        .bindTooltip(nameLabel(each.words), { permanent: true, direction: "right" })),
    ];
    if (drawn.length) map.fitBounds(L.featureGroup(drawn).addTo(map).getBounds(), { maxZoom: 13, animate: false });
  }

  function pick(element) {
    const data = element.dataset;
    const latField = document.getElementById(data.latField);
    const lonField = document.getElementById(data.lonField);
    const spreadField = document.getElementById(data.uncertaintyField);
    const [lat, lon] = (data.centre || "0,0").split(",").map(Number);
    const isReadOnly = "readonly" in data;

    const map = L.map(element, {
      attributionControl: false, fadeAnimation: false, zoomAnimation: false, markerZoomAnimation: false,
      minZoom: 6, maxZoom: 17,
    }).setView([lat, lon], Number(data.zoom || 10));
    L.control.attribution({ prefix: false }).addAttribution(data.attribution || "").addTo(map);
    element.setAttribute("role", "application");
    if (data.label) element.setAttribute("aria-label", data.label);
    const cross = document.createElement("div");
    cross.className = "map-cross";
    if (!isReadOnly) element.append(cross);

    const said = document.createElement("p");
    said.className = "map-said";
    said.setAttribute("role", "status");
    said.textContent = data.help || "";
    element.after(said);

    let spot = null;
    let spread = null;
    function show(at, metres) {
      if (!spot) {
        spread = L.circle(at, { radius: metres || 0, className: "spread", interactive: false }).addTo(map);
        spot = L.circleMarker(at, { radius: 8, className: "spot", interactive: false }).addTo(map);
      }
      spot.setLatLng(at);
      spread.setLatLng(at).setRadius(metres || 0);
    }

    function take(latLng) {
      const at = latLng.wrap();
      const words = [at.lat, at.lng].map((degrees) => degrees.toFixed(DECIMALS));
      write(latField, words[0]);
      write(lonField, words[1]);
      show(at, numberIn(spreadField));
      said.textContent = words.join(", ");
    }

    function followTheBoxes() {
      const typedLat = numberIn(latField);
      const typedLon = numberIn(lonField);
      if (!isOnEarth(typedLat, typedLon)) return;
      show([typedLat, typedLon], numberIn(spreadField));
      if (!map.getBounds().contains([typedLat, typedLon])) map.panTo([typedLat, typedLon], { animate: false });
    }

    if (isReadOnly) {
      if (data.lat && data.lon) show([Number(data.lat), Number(data.lon)], Number(data.uncertainty || 0));
      if (data.areas) drawAreas(map, JSON.parse(document.getElementById(data.areas).textContent));
    } else {
      map.on("click", (event) => take(event.latlng));
      element.addEventListener("keydown", (event) => {
        if (event.target !== element || event.key !== "Enter") return;
        event.preventDefault(); // Enter takes the place under the cross; it must not send the form
        take(map.getCenter());
      });
      [latField, lonField, spreadField].forEach((field) => field?.addEventListener("input", followTheBoxes));
      followTheBoxes();
    }
    if (data.outlineUrl) drawOutline(map, data.outlineUrl).catch(() => {}); // the boxes do without the outline
    return map;
  }

  function pickAll() {
    document.querySelectorAll("[data-map-picker]:not(.leaflet-container)").forEach(pick);
  }
  pickAll();
  document.addEventListener("htmx:afterSettle", pickAll); // a form that came back with mistakes has a new map
})();
