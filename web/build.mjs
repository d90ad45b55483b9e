// Bundles the page into internal/web/dist, which the program embeds, together
// with the licences of what is in the bundle.
import { build } from "esbuild";
import { cpSync, mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { gzipSync } from "node:zlib";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const dist = join(here, "..", "internal", "web", "dist");

mkdirSync(dist, { recursive: true });
for (const name of readdirSync(dist)) if (name !== ".gitkeep") rmSync(join(dist, name), { recursive: true });

const result = await build({
  absWorkingDir: here,
  entryPoints: ["src/main.ts"],
  outfile: join(dist, "page.js"),
  bundle: true,
  minify: true,
  format: "esm",
  target: "es2022",
  metafile: true,
  legalComments: "none",
  logLevel: "warning",
});

// packages lists the npm packages of which at least one byte is in the bundle.
const packages = new Set();
for (const output of Object.values(result.metafile.outputs)) {
  for (const [path, { bytesInOutput }] of Object.entries(output.inputs)) {
    const found = /node_modules\/((?:@[^/]+\/)?[^/]+)\//.exec(path);
    if (found && bytesInOutput > 0) packages.add(found[1]);
  }
}
// The first view may take 400 KB on the wire, compressed.
const limit = 400 * 1024;
const bundled = ["page.js", "page.css"].reduce((sum, name) => sum + gzipSync(readFileSync(join(dist, name))).length, 0);
if (bundled > limit) throw new Error(`the page takes ${Math.round(bundled / 1024)} KB compressed, more than ${limit / 1024} KB`);

const notices = [...packages].sort().map((name) => {
  const folder = join(here, "node_modules", name);
  const { version, license } = JSON.parse(readFileSync(join(folder, "package.json"), "utf8"));
  const file = readdirSync(folder).find((f) => /^licen[cs]e/i.test(f));
  if (!file) throw new Error(`${name} ${version} has no licence file`);
  return `${name} ${version} (${license})\n\n${readFileSync(join(folder, file), "utf8").trim()}\n`;
});
writeFileSync(join(dist, "THIRD-PARTY.txt"), notices.join("\n" + "-".repeat(72) + "\n\n"));
for (const name of ["index.html", "icon.svg"]) cpSync(join(here, "src", name), join(dist, name));
