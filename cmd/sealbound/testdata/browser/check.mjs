// Shows the pages of sealbound report to a real browser and fails if it complains.
//
//	node check.mjs SEALBOUND DEMO [SCREENSHOTS]
//
// SEALBOUND is the program, DEMO the folder of the demo campaign. The packages that it
// needs (package.json) are looked for where it stands. CHROMIUM names the browser.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, readdirSync, rmSync, statSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';
import * as hostile from './campaign.mjs';

const [program, demo, screenshots] = process.argv.slice(2).map((p) => resolve(p));
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const work = mkdtempSync(join(tmpdir(), 'sealbound-browser-'));
let passed = 0;

const run = (...args) => execFileSync(program, args, { cwd: work, encoding: 'utf8' });
const check = async (name, f) => {
  try {
    await f();
  } catch (e) {
    e.message = `${name}: ${e.message}`;
    throw e;
  }
  passed++;
};

// pages makes every kind of page: file name, sheets of paper it may take, and labels
// that must stand in it as text.
function pages() {
  hostile.write(join(work, 'hostile'));
  run('simulate', '--frequencies', '201', '--boxes', '3', '--sessions', '3', '--seed', '7', '-o', 'sweep');
  run('report', demo, '-o', 'demo.html', '--figures', 'figures');
  run('report', demo, '--box', 'Tarnby', '-o', 'demo-sheet.html');
  run('report', 'hostile', '-o', 'hostile.html', '--title', hostile.boxes[0], '--figures', 'hostile-figures');
  run('report', 'hostile', '--box=' + hostile.boxes[1].replace(/^(.*)$/, (s) => '"' + s.replaceAll('"', '""') + '"'), '-o', 'hostile-sheet.html');
  run('report', 'sweep', '-o', 'sweep.html');
  run('report', 'sweep', '--by', 'gasket,box', '-o', 'sweep-boxes.html');
  const box = readFileSync(join(work, 'sweep', 'boxes.csv'), 'utf8').split('\n')[1].split(',')[0];
  run('report', 'sweep', '--box', box, '-o', 'sweep-sheet.html');
  return [
    { file: 'demo.html', labels: ['greyfleece cloth', 'Dunmere'] },
    { file: 'demo-sheet.html', sheets: 1, labels: ['Tarnby', '0 dBm into a loop'] },
    { file: 'hostile.html', labels: [...hostile.boxes, ...hostile.gaskets, hostile.setup.field, hostile.setup.value] },
    { file: 'hostile-sheet.html', sheets: 1, labels: [hostile.boxes[1], hostile.setup.field, hostile.note] },
    { file: 'sweep.html', labels: [box] },
    { file: 'sweep-boxes.html', labels: [box] },
    { file: 'sweep-sheet.html', sheets: 1, labels: [box] },
  ];
}

// opened shows a page and hands it over with what it asked for and complained of.
async function opened(browser, file, options, visit) {
  const page = await browser.newPage(options);
  const said = [];
  page.on('console', (m) => said.push(`console ${m.type()}: ${m.text()}`));
  page.on('pageerror', (e) => said.push(`error: ${e.message}`));
  page.on('requestfailed', (r) => said.push(`failed: ${r.url()}`));
  page.on('request', (r) => {
    if (!r.url().startsWith('data:') && r.url() !== pathToFileURL(file).href) said.push(`asked for ${r.url()}`);
  });
  await page.goto(pathToFileURL(file).href);
  await visit(page);
  assert.deepEqual(said, []);
  await page.close();
}

// overflow lists what reaches beyond the window to the right.
const overflow = () => {
  const limit = document.documentElement.clientWidth;
  const out = document.documentElement.scrollWidth > limit ? [`the page is ${document.documentElement.scrollWidth} wide`] : [];
  for (const e of document.body.querySelectorAll('*')) {
    const r = e.getBoundingClientRect();
    const hidden = r.width <= 1 || e.closest('.skip, .signs') || e.closest('svg') !== null && e.tagName !== 'svg';
    if (!hidden && (r.right > limit + 0.5 || r.left < -0.5)) out.push(`${e.tagName} ${e.className} to ${r.right}: ${e.textContent.slice(0, 60)}`);
  }
  return out.slice(0, 5);
};

async function look(browser, { file, sheets, labels }) {
  const path = join(work, file);
  await check(`${file}: under 1.5 MB`, () => assert.ok(statSync(path).size < 1_500_000));
  for (const width of [390, 1280]) {
    for (const colorScheme of ['light', 'dark']) {
      const options = { viewport: { width, height: 900 }, colorScheme };
      await check(`${file} at ${width}, ${colorScheme}`, () => opened(browser, path, options, async (page) => {
        if (screenshots) await page.screenshot({ path: join(screenshots, `${file}-${width}-${colorScheme}.png`), fullPage: true });
        assert.deepEqual(await page.evaluate(overflow), []);
        await page.evaluate(() => document.querySelectorAll('details').forEach((d) => { d.open = true; }));
        assert.deepEqual(await page.evaluate(overflow), [], 'unfolded');
        if (width < 600 && colorScheme === 'dark') return; // what axe looks at, the other three show
        await page.evaluate(axe);
        const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
        const bad = found.violations.filter((v) => v.impact === 'serious' || v.impact === 'critical');
        assert.deepEqual(bad.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 200)).join(' | ')}`), []);
      }));
    }
  }
  await check(`${file}: labels are text`, () => opened(browser, path, { viewport: { width: 1280, height: 900 } }, async (page) => {
    const got = await page.evaluate(() => ({
      hit: window.hit, text: document.body.textContent,
      alien: document.querySelectorAll('script, iframe, img, object, embed, b, i').length,
      handlers: [...document.querySelectorAll('*')].filter((e) => e.getAttributeNames().some((a) => a.startsWith('on'))).length,
    }));
    assert.equal(got.hit, undefined);
    assert.equal(got.alien, 0);
    assert.equal(got.handlers, 0);
    for (const l of labels) assert.ok(got.text.includes(hostile.shown(l)), `${l} is not shown`);
  }));
  await check(`${file}: for those who listen or use keys`, () => opened(browser, path, { viewport: { width: 1280, height: 900 } }, async (page) => {
    const mute = await page.evaluate(() => [
      ...[...document.querySelectorAll('svg[role=img]')].filter((s) => !s.querySelector(':scope > title')?.textContent || !s.querySelector(':scope > desc')?.textContent).map((s) => 'svg ' + s.outerHTML.slice(0, 80)),
      ...[...document.querySelectorAll('svg:not([role=img])')].filter((s) => s.getAttribute('aria-hidden') !== 'true').map((s) => 'svg ' + s.outerHTML.slice(0, 80)),
      ...[...document.querySelectorAll('th:not([scope])')].map((t) => 'th ' + t.textContent),
      ...[...document.querySelectorAll('table')].filter((t) => !t.querySelector('thead th[scope=col]')).map((t) => 'table ' + t.textContent.slice(0, 80)),
    ]);
    assert.deepEqual(mute, []);
    if (sheets) return;
    await page.keyboard.press('Tab');
    assert.equal(await page.evaluate(() => document.activeElement.className), 'skip');
    await page.evaluate(() => document.querySelector('summary').focus());
    await page.keyboard.press('Enter');
    assert.ok(await page.evaluate(() => document.querySelector('details').open), 'Enter unfolds');
  }));
  await check(`${file}: without script`, () => opened(browser, path, { javaScriptEnabled: false }, async (page) => {
    assert.ok((await page.locator('h1').innerText()).length > 0);
    assert.ok(await page.locator('table').first().isVisible());
  }));
  await check(`${file}: on paper`, () => opened(browser, path, {}, async (page) => {
    const pdf = (await page.pdf({ preferCSSPageSize: true })).toString('latin1');
    const n = (pdf.match(/\/Type\s*\/Page\b(?!s)/g) || []).length;
    assert.ok(n > 0 && n <= (sheets ?? 30), `${n} sheets of paper`);
    console.log(`${file}: ${statSync(path).size} bytes, ${n} on paper`);
  }));
}

async function pictures(browser, folder) {
  const files = readdirSync(join(work, folder)).filter((f) => f.endsWith('.svg'));
  assert.ok(files.length > 5);
  for (const f of files) {
    await check(`${folder}/${f}`, () => opened(browser, join(work, folder, f), {}, async (page) => {
      const got = await page.evaluate(() => [document.documentElement.tagName, document.querySelectorAll('parsererror, script').length,
        document.querySelector('title').textContent.length > 0, document.querySelectorAll('path').length > 0]);
      assert.deepEqual(got, ['svg', 0, true, true]);
    }));
  }
}

async function main() {
  const all = pages();
  const browser = await chromium.launch({
    executablePath: process.env.CHROMIUM || '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
  });
  try {
    for (const p of all) await look(browser, p);
    await pictures(browser, 'figures');
    await pictures(browser, 'hostile-figures');
    await check('equal input, equal bytes', () => {
      const first = readFileSync(join(work, 'demo.html'));
      run('report', demo, '-o', 'demo.html', '--figures', 'figures');
      assert.ok(first.equals(readFileSync(join(work, 'demo.html'))));
    });
  } finally {
    await browser.close();
  }
  console.log(`${passed} passed, 0 failed`);
}

try {
  await main();
} finally {
  rmSync(work, { recursive: true, force: true });
}
