// Opens published maps in MapLibre GL, Leaflet and OpenLayers in a real browser, without a network.
//
// draw_maps.mjs FOLDER SHOTS
//   FOLDER holds county_week.geojson, county_week.style.json and sample_points.geojson of one week.
//   SHOTS takes a picture of each map.
//
// Prints JSON: of each viewer how many counties or points it drew. A request to another host, an error
// of the page or a viewer that does not finish ends the program with a message and a code other than 0.

import { createRequire } from 'node:module';
import { mkdir, readFile } from 'node:fs/promises';
import { join, normalize } from 'node:path';

const require = createRequire(import.meta.url);
const { chromium } = require('playwright-core');
const modules = process.env.NODE_PATH;
const [folder, shots] = process.argv.slice(2);

const head = (style) => `<!doctype html><meta charset="utf-8"><title>map</title>${style}
<style>html, body, #map { margin: 0; width: 900px; height: 700px; background: #fff }</style><div id="map"></div>`;

const pages = {
    'maplibre.html': `${head('<link rel="stylesheet" href="/modules/maplibre-gl/dist/maplibre-gl.css">')}
<script type="module">
import * as maplibregl from '/modules/maplibre-gl/dist/maplibre-gl.mjs';
const data = await (await fetch('county_week.geojson')).json();
const [west, south, east, north] = data.bbox;
const map = new maplibregl.Map({ container: 'map', style: 'county_week.style.json',
    bounds: [[west, south], [east, north]], fitBoundsOptions: { padding: 20 } });
map.on('error', (event) => { throw event.error });
map.once('idle', () => {
    const layers = map.getStyle().layers;
    const fills = layers.filter((layer) => layer.type === 'fill').map((layer) => layer.id);
    const drawn = {};
    for (const feature of map.queryRenderedFeatures({ layers: fills })) {
        const { county_id, status, median_class } = feature.properties;
        (drawn[county_id] ??= { status, median: median_class, layers: [] }).layers.push(feature.layer.id);
    }
    const outlined = map.queryRenderedFeatures({ layers: ['at-threshold'] });
    window.told = { drawn, outlined: [...new Set(outlined.map((feature) => feature.properties.county_id))] };
});
</script>`,
    'leaflet.html': `${head('<link rel="stylesheet" href="/modules/leaflet/dist/leaflet.css">')}
<script src="/modules/leaflet/dist/leaflet.js"></script>
<script type="module">
const data = await (await fetch('county_week.geojson')).json();
const map = L.map('map', { zoomAnimation: false, attributionControl: false });
const counties = L.geoJSON(data, { style: { className: 'county' } }).addTo(map);
map.fitBounds(counties.getBounds());
const points = await (await fetch('sample_points.geojson')).json();
L.geoJSON(points, { pointToLayer: (_, place) => L.circleMarker(place, { className: 'point', color: '#b00' }) }).addTo(map);
const shown = (name) => [...document.querySelectorAll('path.' + name)]
    .filter((path) => path.getBBox().width > 0).length;
window.told = { counties: shown('county'), points: shown('point') };
</script>`,
    'openlayers.html': `${head('<link rel="stylesheet" href="/modules/ol/ol.css">')}
<script src="/modules/ol/dist/ol.js"></script>
<script type="module">
const data = await (await fetch('county_week.geojson')).json();
const format = new ol.format.GeoJSON({ featureProjection: 'EPSG:3857' });
const features = format.readFeatures(data);
const source = new ol.source.Vector({ features });
const map = new ol.Map({ target: 'map', controls: [], layers: [new ol.layer.Vector({ source })] });
map.getView().fit(source.getExtent(), { size: map.getSize(), padding: [20, 20, 20, 20] });
map.once('rendercomplete', () => {
    const found = new Set();
    for (const feature of features) {
        const shape = feature.getGeometry();
        const inside = shape.getInteriorPoint ? shape.getInteriorPoint() : shape.getInteriorPoints().getPoint(0);
        const pixel = map.getPixelFromCoordinate(inside.getCoordinates().slice(0, 2));
        for (const hit of map.getFeaturesAtPixel(pixel)) found.add(hit.getId());
    }
    window.told = { counties: found.size };
});
map.renderSync();
</script>`,
};

const kinds = { html: 'text/html', css: 'text/css', js: 'text/javascript', mjs: 'text/javascript' };

// Whatever the browser asks of this host is answered from the disk; no other host is there.
const origin = 'http://maps.example';
const wrong = [];

async function answer(route, viewer) {
    const url = new URL(route.request().url());
    if (url.origin !== origin) {
        wrong.push(`${viewer} asks ${url}`);
        return route.abort();
    }
    // The browser asks for an icon by itself.
    if (url.pathname === '/favicon.ico') return route.fulfill({ status: 204 });
    const path = normalize(decodeURIComponent(url.pathname));
    const name = path.slice('/files/'.length);
    const contentType = `${kinds[path.split('.').pop()] ?? 'application/json'}; charset=utf-8`;
    try {
        const body = path.startsWith('/modules/') ? await readFile(join(modules, path.slice('/modules/'.length)))
            : pages[name] ?? await readFile(join(folder, name));
        return route.fulfill({ status: 200, contentType, body });
    } catch {
        return route.fulfill({ status: 404 });
    }
}

await mkdir(shots, { recursive: true });
const browser = await chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: ['--no-sandbox', '--use-angle=swiftshader', '--enable-unsafe-swiftshader', '--ignore-gpu-blocklist',
        '--disable-background-networking', '--disable-component-update', '--disable-sync', '--no-first-run'],
});
const told = {};
for (const name of Object.keys(pages)) {
    const viewer = name.replace('.html', '');
    const page = await browser.newPage({ viewport: { width: 900, height: 700 } });
    page.on('console', (message) => message.type() === 'error' && wrong.push(`${viewer}: ${message.text()}`));
    page.on('pageerror', (error) => wrong.push(`${viewer}: ${error}`));
    await page.route(/^https?:/, (route) => answer(route, viewer));
    await page.goto(`${origin}/files/${name}`);
    await page.waitForFunction('window.told', null, { timeout: 60_000 })
        .catch((error) => wrong.push(`${viewer} does not finish: ${error}`));
    told[viewer] = await page.evaluate('window.told');
    await page.screenshot({ path: join(shots, `${viewer}.png`) });
    await page.close();
}
await browser.close();
if (wrong.length > 0) {
    console.error(wrong.join('\n'));
    process.exit(1);
}
console.log(JSON.stringify(told));
