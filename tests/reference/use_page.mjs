// Uses a page from the keyboard: sorts its table, switches its units, with scripts and without.
//
// use_page.mjs PAGE
//
// Prints JSON: `table`, the headings and rows as they stand; `plain`, the same without scripts; `sorts`, of each
// heading with a button what Enter, then Space, made of the rows; `units`, with scripts and without, what each
// choice shows and hides; `stops`, what the Tab key comes to on a desk and a phone, and
// whether it can be seen there.

import { launch, open } from './browser.mjs';

const file = process.argv[2];

// The table of counties: rows as texts by the order of the headings, with the value that a cell is sorted by
// where it states one. A cell that covers several columns holds a value of none.
function readTable() {
    const table = document.querySelector('table:has(th[scope=row])');
    const shown = (element) => element.innerText.trim().replace(/\s+/g, ' ');
    const heads = [...table.tHead.rows[0].cells].map((head) => ({
        text: head.textContent.trim().replace(/\s+/g, ' '), sort: head.getAttribute('aria-sort'), button: head.querySelector('button') !== null,
    }));
    const rows = [...table.tBodies].flatMap((body) => [...body.rows]).map((row) => {
        const cells = [];
        for (const cell of row.cells) {
            const value = cell.dataset.sort ?? cell.dataset.value ?? null;
            cells.push({ text: shown(cell), value, spans: cell.colSpan });
            for (let more = 1; more < cell.colSpan; more += 1) cells.push(null);
        }
        return { cells, name: row.querySelector('th').textContent.trim() };
    });
    return { heads, rows };
}

const active = (page) => page.evaluate(() => {
    const element = document.activeElement;
    const head = element.closest('th');
    return { tag: element.tagName, name: element.getAttribute('name'), href: element.getAttribute('href'),
        text: element.textContent.trim().slice(0, 40), column: head && element.tagName === 'BUTTON' ? head.cellIndex : null };
});

// Tab until the focus is where it is wanted; whether it came there.
async function tabTo(page, wanted) {
    await page.evaluate(() => { document.activeElement.blur(); scrollTo(0, 0); });
    for (let press = 0; press < 80; press += 1) {
        await page.keyboard.press('Tab');
        const at = await active(page);
        if (at.tag === 'BODY' && press > 0) return false;
        if (wanted(at)) return true;
    }
    return false;
}

async function sorts(browser) {
    const { heads } = await readWith(browser, true);
    const done = [];
    for (const [column, head] of heads.entries()) {
        if (!head.button) continue;
        const wrong = [];
        const page = await open(browser, file, wrong);
        const reached = await tabTo(page, (at) => at.column === column);
        const before = await page.evaluate(readTable);
        const after = [];
        for (const key of ['Enter', 'Space']) {
            await page.keyboard.press(key);
            // The focus stays, or whoever cannot see is lost.
            after.push({ key, ...await page.evaluate(readTable), focus: (await active(page)).column });
        }
        done.push({ column, head: head.text, reached, before: before.rows, after, wrong });
        await page.context().close();
    }
    return done;
}

async function readWith(browser, javaScriptEnabled) {
    const page = await open(browser, file, [], { javaScriptEnabled });
    const table = await page.evaluate(readTable);
    await page.context().close();
    return table;
}

// What can be seen of a text, leaf by leaf, in the order of the page.
function visibleLeaves() {
    const all = [...document.querySelectorAll('body *')].filter((element) =>
        [...element.childNodes].some((child) => child.nodeType === Node.TEXT_NODE && child.data.trim())
        && !element.closest('script, style, title, desc'));
    return all.map((element, place) => ({ place, text: element.textContent.trim(), shown: element.checkVisibility({ visibilityProperty: true }) }));
}

async function units(browser, javaScriptEnabled) {
    const page = await open(browser, file, [], { javaScriptEnabled });
    const choices = await page.evaluate(() => {
        const select = document.querySelector('select[name=units]');
        const of = select ? [...select.options] : [...document.querySelectorAll('input[name=units]')];
        return of.map((choice) => ({ value: choice.value, chosen: select ? choice.selected : choice.checked }));
    });
    const views = [];
    if (choices.length > 1) {
        const reached = await tabTo(page, (at) => at.name === 'units');
        const first = choices.findIndex(({ chosen }) => chosen);
        for (let step = 0; step < choices.length; step += 1) {
            if (step > 0) await page.keyboard.press('ArrowDown');
            const chosen = await page.evaluate(() =>
                (document.querySelector('select[name=units]') ?? document.querySelector('input[name=units]:checked'))?.value);
            views.push({ expected: choices[(first + step) % choices.length].value, chosen, reached, leaves: await page.evaluate(visibleLeaves) });
        }
    }
    await page.context().close();
    return { choices, views };
}

// The stops of the Tab key in a window of this width, and at which of them something is to be seen: a control
// in the window, not clipped away for screen readers alone, with a ring around it or its label.
async function stops(browser, width) {
    const page = await open(browser, file, [], { viewport: { width, height: 800 } });
    const all = [];
    for (let press = 0; press < 80; press += 1) {
        await page.keyboard.press('Tab');
        const at = await active(page);
        if (at.tag === 'BODY') break;
        at.seen = await page.evaluate(() => {
            const element = document.activeElement;
            const box = element.getBoundingClientRect();
            if (box.right <= 0 || box.left >= innerWidth || box.bottom <= 0 || box.top >= innerHeight) return false;
            for (let around = element; around; around = around.parentElement) {
                const outer = around.getBoundingClientRect();
                const clips = /hidden|clip/.test(getComputedStyle(around).overflowX);
                if (getComputedStyle(around).clipPath === 'inset(50%)' || (clips && Math.min(outer.width, outer.height) < 2)) return false;
            }
            const ring = (of) => of && ((of.outlineStyle !== 'none' && Number.parseFloat(of.outlineWidth) > 0) || of.boxShadow !== 'none');
            const label = element.labels?.[0];
            return Boolean(ring(getComputedStyle(element)) || (label && ring(getComputedStyle(label))));
        });
        all.push(at);
    }
    await page.context().close();
    return all;
}

const browser = await launch();
const told = {
    table: await readWith(browser, true),
    plain: await readWith(browser, false),
    sorts: await sorts(browser),
    units: { with: await units(browser, true), without: await units(browser, false) },
    stops: { desk: await stops(browser, 1024), phone: await stops(browser, 360) },
};
await browser.close();
console.log(JSON.stringify(told));
