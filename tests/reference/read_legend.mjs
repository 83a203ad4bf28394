// Reads out of a page how each class of its map is painted, as the browser paints it.
//
// read_legend.mjs PAGE
//
// Prints JSON: of light, dark and print the classes in the order of the legend: words, ground, the color of the
// marks on it and their shape if there are any, and whether an outline sets the class off.

import { launch, open } from './browser.mjs';

function readLegend() {
    const color = (text) => (/^rgba?\(([^)]*)\)/.exec(text)?.[1] ?? '').split(/[ ,/]+/).filter(Boolean).map(Number);
    const painted = (element, name) => {
        const value = getComputedStyle(element)[name];
        return value === 'none' || value.startsWith('url') ? null : color(value);
    };
    return [...document.querySelectorAll('.legend li')].map((item) => {
        const box = item.querySelector('svg rect');
        const strokes = [...item.querySelectorAll('svg *')].filter((shape) => Number.parseFloat(getComputedStyle(shape).strokeWidth) >= 2 && painted(shape, 'stroke'));
        const entry = { words: item.textContent.trim(), ground: painted(box, 'fill'), marks: null, shape: null, outline: strokes.length > 1 };
        const pattern = /url\("?#([^")]+)/.exec(getComputedStyle(box).fill);
        if (pattern) {
            const shapes = [...document.getElementById(pattern[1]).children];
            const mark = shapes.at(-1);
            entry.ground = painted(shapes[0], 'fill');
            entry.marks = painted(mark, 'stroke') ?? painted(mark, 'fill');
            entry.shape = `${mark.tagName} ${mark.getAttribute('d') ?? ''}`.trim();
        }
        return entry;
    });
}

const browser = await launch();
const told = {};
for (const [name, media] of [['light', { colorScheme: 'light' }], ['dark', { colorScheme: 'dark' }], ['print', { media: 'print' }]]) {
    const page = await open(browser, process.argv[2], [], {});
    await page.emulateMedia(media);
    told[name] = await page.evaluate(readLegend);
    await page.context().close();
}
await browser.close();
console.log(JSON.stringify(told));
