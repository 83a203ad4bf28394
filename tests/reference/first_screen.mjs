// What a reader has on the first screen of an alert, and what the map writes, by position in a real browser.
//
// first_screen.mjs PAGE SHOTS
//   SHOTS takes a picture of each first screen.
//
// Prints JSON: of each window where the answers, the map and the headline are, which numbers and names are seen on the
// map, and how wide the page's parts are together; and of the page its headline, the counties that the map outlines, and every
// county with its number as the table and the list have them.

import { mkdir } from 'node:fs/promises';
import { join } from 'node:path';
import { launch, open } from './browser.mjs';

function read() {
    const box = (element) => {
        const { left, top, right, bottom } = element.getBoundingClientRect();
        return { left, top: top + scrollY, right, bottom: bottom + scrollY };
    };
    const seen = (element) => element.getClientRects().length > 0;
    const texts = (selector) => [...document.querySelectorAll(selector)].filter(seen).map((text) => text.textContent.trim());
    const outlined = [...document.querySelectorAll('.first .map path[stroke-width="3"] > title')].map((title) => title.textContent);
    return {
        answers: Object.fromEntries([...document.querySelectorAll('.answer')]
            .map((answer) => [answer.querySelector('h2').textContent, box(answer)])),
        map: box(document.querySelector('.first .map')),
        headline: box(document.querySelector('h1')),
        said: document.querySelector('h1').textContent,
        numbers: texts('.first .map .numbers text'),
        names: texts('.first .map .names text'),
        outlined,
        table: [...document.querySelectorAll('th[data-number]')].map((head) => [head.dataset.number, head.firstChild.textContent.trim()]),
        lists: [...document.querySelectorAll('section.counties > p')].map((list) => list.textContent),
    };
}

const [file, shots] = process.argv.slice(2);
await mkdir(shots, { recursive: true });
const browser = await launch();
const told = {};
for (const [width, height] of [[360, 740], [1440, 900]]) {
    const page = await open(browser, file, [], { viewport: { width, height } });
    told[width] = await page.evaluate(read);
    await page.screenshot({ path: join(shots, `first-${width}.png`) });
    await page.context().close();
}
await browser.close();
console.log(JSON.stringify(told));
