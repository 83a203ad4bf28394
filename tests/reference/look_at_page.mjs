// Looks at a page as its readers see it: three widths and a narrow one, light and dark, on paper.
//
// look_at_page.mjs PAGE SHOTS [few]
//   few leaves out the widths between and looks at a phone, a wide dark window and paper alone.
//   SHOTS takes a picture of each view and each printed page.
//
// Prints JSON: `views`, of each what is wrong with it, by kind, and `paper`, of each paper the number of pages
// and what is wrong; `texts`, what can be read with and without scripts.

import { mkdir, readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { grayPages, launch, open, words } from './browser.mjs';
import { looks } from './page_faults.mjs';

const axe = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
const [file, shots, few] = process.argv.slice(2);
await mkdir(shots, { recursive: true });

// Into the page's world without a script element: its content security policy stays as it is.
async function axeFaults(page) {
    await page.evaluate(axe);
    const found = await page.evaluate((tags) => globalThis.axe.run(document, { runOnly: tags, resultTypes: ['violations'] }), TAGS);
    return found.violations.map(({ id, impact, nodes }) =>
        `${impact}: ${id} (${nodes.length}): ${nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(' · ')}`);
}

// Whether a screen reader announces a table, though its rows may be laid out as cards.
async function tableFaults(page) {
    const session = await page.context().newCDPSession(page);
    const { nodes } = await session.send('Accessibility.getFullAXTree');
    const told = (role) => nodes.filter((node) => !node.ignored && node.role?.value === role).length;
    const held = await page.evaluate(() => {
        const count = (selector) => document.querySelectorAll(selector).length;
        return { table: count('table'), row: count('tr'), columnheader: count('th[scope=col]'), rowheader: count('th[scope=row]') };
    });
    return Object.entries(held).filter(([role, number]) => told(role) < number)
        .map(([role, number]) => `${told(role)} of ${number} are announced as ${role}`);
}

async function look(browser, name, width, media) {
    const quiet = [];
    const page = await open(browser, file, quiet, { viewport: { width, height: 900 }, ...media });
    if (media.media) await page.emulateMedia({ media: media.media });
    const faults = await page.evaluate(looks);
    await page.screenshot({ path: join(shots, `${name}.png`), fullPage: true });
    faults.axe = await axeFaults(page);
    // Paper is not read out, and leaves out columns where it must.
    faults.tables = media.media === 'print' ? [] : await tableFaults(page);
    faults.quiet = quiet;
    await page.context().close();
    return faults;
}

// The margin that @page of the page's style sets, less what the tail of a letter may take.
const MARGIN = 12 * 72 / 25.4 - 3;

async function print(browser, format) {
    const quiet = [];
    const page = await open(browser, file, quiet);
    const pdf = join(shots, `${format}.pdf`);
    // Dark on the screen: paper is white all the same.
    await page.emulateMedia({ colorScheme: 'dark' });
    await page.pdf({ path: pdf, format, preferCSSPageSize: false, printBackground: false });
    await page.emulateMedia({ media: 'print' });
    const shown = await page.evaluate(() => document.body.innerText);
    await page.context().close();
    const pages = await words(pdf);
    const cut = pages.flatMap(({ width, height, words }, place) => words
        .filter(({ left, top, right, bottom }) => left < MARGIN || top < MARGIN
            || right > width - MARGIN || bottom > height - MARGIN)
        .map(({ text, left, top, right, bottom }) =>
            `page ${place + 1}: ${text.slice(0, 60)} at ${[left, top, right, bottom].map(Math.round)} of ${width} × ${height}`));
    const letters = (text) => {
        const count = {};
        for (const letter of text.normalize('NFKC').replace(/\s/g, '')) count[letter] = (count[letter] ?? 0) + 1;
        return count;
    };
    // A heading of a table comes again on the next page, so there may be more on paper, never less.
    const printed = letters(pages.flatMap(({ words }) => words.map(({ text }) => text)).join(''));
    const missing = Object.entries(letters(shown))
        .filter(([letter, times]) => (printed[letter] ?? 0) < times)
        .map(([letter, times]) => `${letter}: ${printed[letter] ?? 0} of ${times}`);
    await grayPages(pdf, join(shots, format));
    return { pages: pages.length, cut, missing, quiet, last: pages.at(-1).words.slice(0, 12).map(({ text }) => text).join(' ') };
}

const browser = await launch();
const views = {};
const all = ['320-light', '360-light', '360-dark', '768-light', '768-dark', '1440-light', '1440-dark'];
for (const name of few ? ['360-light', '1440-dark'] : all) {
    const [width, colorScheme] = name.split('-');
    views[name] = await look(browser, name, Number(width), { colorScheme });
}
views.print = await look(browser, 'print', 700, { media: 'print' });
const paper = { Letter: await print(browser, 'Letter'), A4: await print(browser, 'A4') };
const texts = {};
for (const [name, javaScriptEnabled] of [['with', true], ['without', false]]) {
    const page = await open(browser, file, [], { javaScriptEnabled });
    texts[name] = await page.evaluate(() => document.querySelector('main').innerText);
    await page.context().close();
}
await browser.close();
console.log(JSON.stringify({ views, paper, texts }));
