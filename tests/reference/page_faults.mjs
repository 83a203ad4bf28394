// What a reader would stumble over in the page that is open: runs in the page, and changes nothing in it.

// Lists of faults by kind, each empty in a good page. One function, because the browser gets its text.
export function looks() {
    const shortly = (element) => element.outerHTML.replace(/\s+/g, ' ').slice(0, 110);
    const words = (element) => element.textContent.trim().replace(/\s+/g, ' ').slice(0, 50);

    // Boxes of what can be seen: neither hidden, nor for screen readers alone, nor off the page on purpose.
    const seen = (element) => {
        for (let at = element; at instanceof Element; at = at.parentElement) {
            const style = getComputedStyle(at);
            const box = at.getBoundingClientRect();
            if (style.display === 'none' || style.visibility === 'hidden' || style.opacity === '0') return false;
            if (style.clipPath === 'inset(50%)' || (style.position === 'absolute' && box.width <= 1 && box.height <= 1)) return false;
            if (style.position === 'absolute' && box.right < 0) return false;
            if (at.tagName === 'DETAILS' && !at.open && element !== at && !element.closest('summary')) return false;
        }
        return true;
    };
    const meet = (one, other, slack) => one.left + slack < other.right && other.left + slack < one.right
        && one.top + slack < other.bottom && other.top + slack < one.bottom;
    const within = (inner, outer, slack) => inner.left >= outer.left - slack && inner.right <= outer.right + slack
        && inner.top >= outer.top - slack && inner.bottom <= outer.bottom + slack;

    const { documentElement: root } = document;
    const faults = { scroll: [], outside: [], overlap: [], broken: [], charts: [], small: [], contrast: [], targets: [], structure: [], motion: [] };
    if (root.scrollWidth > innerWidth) faults.scroll.push(`the page is ${root.scrollWidth} wide in a window of ${innerWidth}`);

    // Lines of text, each with its box a little less high than its letters may be.
    const lines = [];
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let text = walk.nextNode(); text; text = walk.nextNode()) {
        const element = text.parentElement;
        if (!text.data.trim() || element.closest('svg, script, style, noscript') || !seen(element)) continue;
        const range = document.createRange();
        range.selectNodeContents(text);
        for (const box of range.getClientRects()) {
            const trim = box.height * 0.18;
            lines.push({ text, element, left: box.left, right: box.right, top: box.top + trim, bottom: box.bottom - trim });
        }
        // A word on two lines without a hyphen reads as two. Of words that no line could hold nothing is said.
        for (const word of text.data.matchAll(/[\p{L}\p{N}]+/gu)) {
            range.setStart(text, word.index);
            range.setEnd(text, word.index + word[0].length);
            const tops = [...range.getClientRects()].map((box) => Math.round(box.top));
            if (word[0].length <= 20 && new Set(tops).size > 1) faults.broken.push(`${word[0]} of ${words(element)}`);
        }
    }
    for (const line of lines) {
        if (line.left < -1 || line.right > innerWidth + 1) faults.outside.push(`${words(line.element)} runs out of the window`);
        for (let at = line.element; at; at = at.parentElement) {
            const style = getComputedStyle(at);
            const hides = /hidden|clip/.test(style.overflowX + style.overflowY);
            if (hides && !within(line, at.getBoundingClientRect(), 1)) faults.outside.push(`${words(line.element)} is cut by ${shortly(at)}`);
        }
    }
    lines.forEach((one, place) => {
        const other = lines.slice(place + 1).find((line) => line.text !== one.text && meet(one, line, 1));
        if (other) faults.overlap.push(`${words(one.element)} overlaps ${words(other.element)}`);
    });

    // Text in pictures. Scaled with its picture it may become too small to read; 9 CSS pixels are about the
    // 7 points below which print is called small (standard practice; no published source).
    const channel = (value) => value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
    const rgb = (color) => (/^rgba?\(([^)]*)\)/.exec(color)?.[1] ?? '').split(/[ ,/]+/).map(Number);
    const luminance = ([red, green, blue]) => 0.2126 * channel(red / 255) + 0.7152 * channel(green / 255) + 0.0722 * channel(blue / 255);
    const contrast = (one, other) => {
        const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b);
        return (high + 0.05) / (low + 0.05);
    };
    const opaque = (color) => { const parts = rgb(color); return parts.length >= 3 && (parts[3] ?? 1) > 0.99 ? parts : null; };
    // The ground under a text of a picture: a halo of its own, the shape under it, or what is behind the picture.
    const ground = (text, box) => {
        const style = getComputedStyle(text);
        if (style.paintOrder.startsWith('stroke') && Number.parseFloat(style.strokeWidth) >= 2 && opaque(style.stroke)) return opaque(style.stroke);
        const svg = text.ownerSVGElement;
        const shapes = [...svg.querySelectorAll('path, rect, circle, ellipse, polygon')].reverse();
        const middle = new DOMPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
        for (const shape of shapes) {
            const painted = getComputedStyle(shape);
            if (shape.closest('defs') || painted.fill === 'none' || !(text.compareDocumentPosition(shape) & Node.DOCUMENT_POSITION_PRECEDING)) continue;
            const matrix = shape.getScreenCTM();
            if (!matrix || !shape.isPointInFill(middle.matrixTransform(matrix.inverse()))) continue;
            if (Number.parseFloat(painted.fillOpacity) < 1 || painted.fill.startsWith('url')) return null;
            return opaque(painted.fill);
        }
        for (let at = svg; at; at = at.parentElement) {
            const color = opaque(getComputedStyle(at).backgroundColor);
            if (color) return color;
        }
        return [255, 255, 255];
    };
    for (const svg of document.querySelectorAll('svg')) {
        if (!seen(svg)) continue;
        const frame = svg.getBoundingClientRect();
        const texts = [...svg.querySelectorAll('text')].filter(seen)
            .map((text) => ({ text, box: text.getBoundingClientRect() })).filter(({ box }) => box.width > 0);
        const small = [];
        texts.forEach(({ text, box }, place) => {
            if (!within(box, frame, 1)) faults.charts.push(`${words(text)} sticks out of its picture`);
            const other = texts.slice(place + 1).find((next) => meet(box, next.box, 1));
            if (other) faults.charts.push(`${words(text)} overlaps ${words(other.text)}`);
            // The name of a county belongs inside it: with a border through it, it names two.
            const own = [...svg.querySelectorAll('path > title')].filter((title) => title.textContent.startsWith(`${text.textContent}:`));
            for (const title of own) {
                const shape = title.parentElement;
                const toShape = shape.getScreenCTM().inverse();
                const corners = [0.08, 0.92].flatMap((x) => [0.2, 0.8].map((y) =>
                    new DOMPoint(box.left + x * box.width, box.top + y * box.height)));
                const filled = (corner) => shape.isPointInFill(corner.matrixTransform(toShape));
                if (!corners.every(filled)) faults.charts.push(`${words(text)} crosses a border`);
            }
            const scale = Math.hypot(text.getScreenCTM().a, text.getScreenCTM().b);
            const size = Number.parseFloat(getComputedStyle(text).fontSize) * scale;
            if (size < 9) small.push({ size, words: words(text) });
            const ink = opaque(getComputedStyle(text).fill);
            const paper = ground(text, box);
            if (ink && paper && contrast(ink, paper) < 4.5) faults.contrast.push(`${words(text)}: ${contrast(ink, paper).toFixed(2)}`);
        });
        if (small.length > 0) {
            const { size, words } = small.sort((one, other) => one.size - other.size)[0];
            faults.small.push(`${small.length} of ${texts.length} labels of a picture, such as ${words}: ${size.toFixed(1)} px`);
        }
    }

    // WCAG 2.2, 2.5.8: 24 by 24 pixels, but for a link in a sentence. A label belongs to its control. Nobody taps on paper.
    const paper = window.matchMedia('print').matches;
    for (const control of document.querySelectorAll('button, select, summary, input, textarea, a[href], [tabindex], [role=button]')) {
        if (paper || !seen(control)) continue;
        if (control.tagName === 'A' && getComputedStyle(control).display === 'inline') continue;
        const boxes = [control, ...(control.labels ?? [])].map((part) => part.getBoundingClientRect());
        const wide = Math.max(...boxes.map((box) => box.width));
        const high = Math.max(...boxes.map((box) => box.height));
        if (Math.min(wide, high) < 24) faults.targets.push(`${words(control) || shortly(control)}: ${wide.toFixed(0)} × ${high.toFixed(0)}`);
    }

    // What axe does not ask: headings without a gap, pictures that say what they show, tables that can be read out.
    const headings = [...document.querySelectorAll('h1, h2, h3, h4, h5, h6')].filter(seen);
    if (headings.filter((heading) => heading.tagName === 'H1').length !== 1) faults.structure.push('not one h1');
    headings.slice(1).forEach((heading, place) => {
        if (Number(heading.tagName[1]) > Number(headings[place].tagName[1]) + 1) faults.structure.push(`a level is left out before ${words(heading)}`);
    });
    for (const svg of document.querySelectorAll('svg')) {
        if (svg.closest('[aria-hidden=true]')) continue;
        const said = (attribute) => (svg.getAttribute(attribute) ?? '').split(/\s+/).map((id) => document.getElementById(id)?.textContent ?? '').join(' ').trim();
        const name = svg.getAttribute('aria-label') ?? said('aria-labelledby');
        const description = `${name} ${said('aria-describedby')}`;
        if (svg.getAttribute('role') !== 'img') faults.structure.push(`a picture without role=img: ${shortly(svg)}`);
        if (description.length < 60 || !/\d/.test(description)) faults.structure.push(`a picture that does not say its figures: ${shortly(svg)}`);
    }
    for (const table of document.querySelectorAll('table')) {
        if (!table.caption?.textContent.trim()) faults.structure.push(`a table without a caption: ${shortly(table)}`);
        for (const head of table.querySelectorAll('th')) {
            if (!head.scope) faults.structure.push(`a heading of no column or row: ${shortly(head)}`);
        }
    }
    const ids = [...document.querySelectorAll('[id]')].map(({ id }) => id);
    for (const id of new Set(ids.filter((id, place) => ids.indexOf(id) !== place))) faults.structure.push(`two of the id ${id}`);
    for (const link of document.querySelectorAll('a[href^="#"]')) {
        if (!document.getElementById(link.hash.slice(1))) faults.structure.push(`a link to nothing: ${shortly(link)}`);
    }
    if (document.getAnimations().length > 0) faults.motion.push(`${document.getAnimations().length} animations`);
    return faults;
}
