// Reads JCAMP-DX files with the general-purpose reader jcampconverter and prints, one line
// of JSON a file, what it found in them. Arguments: the folder of node modules, then files.
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';

const [modules, ...files] = process.argv.slice(2);
const home = join(modules, 'jcampconverter');
const { version, module, main, exports } = JSON.parse(readFileSync(join(home, 'package.json'), 'utf8'));
const entry = module ?? exports?.['.']?.default ?? main;
const { convert } = await import(pathToFileURL(join(home, entry)));
console.log(JSON.stringify({ version }));

function table({ data, xUnits }) {
  const x = Array.from(data.x ?? []);
  const y = Array.from(data.y ?? []);
  return {
    n: y.length, first: x[0], last: x[x.length - 1], unit: xUnits,
    sum: y.reduce((a, b) => a + b, 0), size: y.reduce((a, b) => a + Math.abs(b), 0),
  };
}

for (const file of files) {
  const out = { tables: [] };
  try {
    const { flatten } = convert(readFileSync(file), { noContour: true });
    for (const block of flatten) {
      for (const spectrum of block.spectra ?? []) {
        if (spectrum.data) out.tables.push(table(spectrum));
      }
    }
  } catch (error) {
    out.error = String(error);
  }
  console.log(JSON.stringify(out));
}
