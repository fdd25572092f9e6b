// A campaign of labels that would like to be something else: markup, templates, text
// that runs backwards, words without an end. The attenuations are made up.
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

export const boxes = [
  '<script>window.hit=1</script>',
  '"&\'><img src=x onerror=window.hit=2>',
  '</title></style></svg>--><b>box</b>',
  '\u202Ereversed\u202C and \u200Bhidden',
];
export const gaskets = ['{{.Title}} ${1} javascript:window.hit=3', 'x'.repeat(180), '银衬垫 グラス 🧲 é'];
export const setup = { field: '<iframe src="javascript:window.hit=4">', value: '" onload="window.hit=5' };
export const note = '<svg onload=window.hit=6>';

// What a page shows of a label: characters that could steer a display are written out.
export const shown = (label) => label.replace(/[\u202A-\u202E\u200B]/g, (c) => '\\u' + c.charCodeAt(0).toString(16));

const cell = (text) => '"' + text.replaceAll('"', '""') + '"';

export function write(folder) {
  mkdirSync(folder, { recursive: true });
  const rows = ['run,date,box,gasket,closing,freq_mhz,position,receiver,note,atten_db'];
  let k = 0;
  for (let year = 2020; year < 2024; year++) {
    boxes.forEach((box, b) => gaskets.forEach((gasket, g) => {
      if (g !== b % 3 && year > 2020) return; // one gasket stays in each box
      for (let closing = 1; closing <= 4; closing++) {
        for (const freq of [5, 60, 900]) {
          for (const place of ['<lid>', 'a&b']) {
            k++;
            const db = 52 + 5 * g + 2 * b - (year - 2020) * 1.1 - Math.log10(freq) + 3 * Math.sin(k * 12.9898);
            rows.push([cell(`run "${year}" <${b}>`), `${year}-06-0${1 + g}`, cell(box), cell(gasket), closing, freq,
              cell(place), cell('R&S<i>'), cell(note), (k % 17 === 0 ? '>' : '') + db.toFixed(2)].join(','));
          }
        }
      }
    }));
  }
  writeFileSync(join(folder, 'readings <1> & more.csv'), rows.join('\n') + '\n');
  writeFileSync(join(folder, 'setup.csv'), `run,field,value\n,${cell(setup.field)},${cell(setup.value)}\n`);
}
