// Opens pages whose texts mean no good, in a browser that no content security policy protects, and presses
// everything that can be pressed.
//
// open_hostile.mjs FILE…
//
// Prints JSON: of each file what happened that should not, what can be read, and how wide it is on a phone.
// A text that gets to run calls `struck`.

import { launch, open } from './browser.mjs';

const browser = await launch();
const told = {};
for (const file of process.argv.slice(2)) {
    const wrong = [];
    const page = await open(browser, file, wrong, { bypassCSP: true, viewport: { width: 360, height: 800 } });
    await page.evaluate(() => { globalThis.struck ??= (by) => console.log(`struck by ${by}`); });
    const reads = () => page.evaluate(() => {
        const active = [...document.querySelectorAll('*')].filter((element) =>
            ['IMG', 'IFRAME', 'OBJECT', 'EMBED', 'FORM', 'BASE', 'AUDIO', 'VIDEO', 'MARQUEE', 'parsererror'].includes(element.tagName)
            || [...element.attributes].some(({ name, value }) => name.startsWith('on') || /^\s*(javascript|data|vbscript):/i.test(value))
            || (element.tagName === 'SCRIPT' && element.textContent.includes('struck')));
        const root = document.documentElement;
        return { text: (document.body ?? root).innerText ?? root.textContent, active: active.map((element) => element.outerHTML.slice(0, 200)),
            wide: root.scrollWidth, errors: document.querySelectorAll('parsererror').length };
    });
    const before = await reads();
    for (const control of await page.locator('button, input, summary').all()) {
        await control.dispatchEvent('click');
    }
    const after = await reads();
    told[file] = { wrong, ...before, active: [...new Set([...before.active, ...after.active])] };
    await page.context().close();
}
await browser.close();
console.log(JSON.stringify(told));
