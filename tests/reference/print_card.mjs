// Opens a stop card in a real browser, without a network, and prints it on A4 and on Letter.
//
// print_card.mjs CARD PDF
//
// Prints JSON: the rows of its stop table and of how sure it is, its text, how many pages it has on each paper, whether the page is wider than its
// window, and everything that it asked of any place but itself.

import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const require = createRequire(import.meta.url);
const { chromium } = require('playwright-core');
const [card, pdf] = process.argv.slice(2);

const browser = await chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-background-networking', '--disable-component-update', '--disable-sync',
        '--no-first-run'],
});
const page = await browser.newPage({ viewport: { width: 360, height: 700 } });
const asked = [];
const address = pathToFileURL(resolve(card)).href;
page.on('request', (request) => request.url() !== address && asked.push(request.url()));
page.on('console', (message) => message.type() === 'error' && asked.push(message.text()));
page.on('pageerror', (error) => asked.push(String(error)));
await page.goto(address);
const told = await page.evaluate(() => ({
    rows: [...document.querySelectorAll('#stops tbody tr')]
        .map((row) => [...row.children].map((cell) => cell.textContent.trim())),
    sure: [...document.querySelectorAll('#sure tbody tr')]
        .map((row) => [...row.children].map((cell) => cell.textContent.trim())),
    text: document.body.innerText,
    references: [...document.querySelectorAll('[src], [href], [action], script, iframe, object, embed')]
        .map((element) => element.outerHTML),
    tooWide: document.documentElement.scrollWidth > innerWidth,
}));
const pages = {};
for (const format of ['A4', 'Letter']) {
    await page.pdf({ path: pdf, format, preferCSSPageSize: false });
    pages[format] = (await readFile(pdf, 'latin1')).match(/\/Type\s*\/Page\b/g).length;
}
await browser.close();
console.log(JSON.stringify({ ...told, asked, pages }));
