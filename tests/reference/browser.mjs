// A real browser for pages from the disk: says what a page asks for, complains of or opens, and reads the
// text of a printed page. What a page ought to be is decided by who imports this.

import { createRequire } from 'node:module';
import { execFile } from 'node:child_process';
import { resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { promisify } from 'node:util';

const require = createRequire(import.meta.url);
const { chromium } = require('playwright-core');
const run = promisify(execFile);

export const launch = () => chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-background-networking', '--disable-component-update', '--disable-sync',
        '--no-first-run'],
});

// Opens a file in a window of its own. `wrong` gets a line for everything that a quiet page does not do.
export async function open(browser, file, wrong, options = {}) {
    const context = await browser.newContext({ viewport: { width: 1024, height: 800 }, ...options });
    const page = await context.newPage();
    const address = pathToFileURL(resolve(file)).href;
    page.on('request', (request) => {
        if (request.url().split('#')[0] !== address) wrong.push(`asks for ${request.url().slice(0, 200)}`);
    });
    page.on('console', (message) => wrong.push(`console ${message.type()}: ${message.text()}`));
    page.on('pageerror', (error) => wrong.push(`error: ${error}`));
    page.on('dialog', (dialog) => {
        wrong.push(`dialog: ${dialog.message()}`);
        return dialog.dismiss();
    });
    page.on('popup', (popup) => wrong.push(`opens ${popup.url()}`));
    await page.goto(address);
    return page;
}

// The words of a PDF, page by page, with their boxes in points from the upper left corner.
export async function words(pdf) {
    const { stdout } = await run('pdftotext', ['-bbox', pdf, '-'], { maxBuffer: 1 << 28 });
    const pages = [];
    const number = (text) => Number.parseFloat(text);
    const element = /<page width="([\d.]+)" height="([\d.]+)">|<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">([^<]*)</g;
    for (const [, width, height, left, top, right, bottom, text] of stdout.matchAll(element)) {
        if (width) pages.push({ width: number(width), height: number(height), words: [] });
        else {
            pages.at(-1).words.push({ text: plain(text), left: number(left), top: number(top),
                right: number(right), bottom: number(bottom) });
        }
    }
    return pages;
}

const plain = (text) => text.replace(/&(lt|gt|quot|apos|amp);/g, (_, name) => ({ lt: '<', gt: '>', quot: '"', apos: "'", amp: '&' })[name]);

// Pictures of the pages of a PDF as a printer without colors gives them: PREFIX-1.png and so on.
export const grayPages = (pdf, prefix) => run('pdftoppm', ['-gray', '-r', '80', '-png', pdf, prefix]);
