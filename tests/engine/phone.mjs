// Run a Python program on the MicroPython that ships to phones, with the engine and the tables in its file system.
// usage: node phone.mjs CHECKOUT PROGRAM.py [DATA.json ...]; what the program prints goes to standard output.
import { readFileSync, readdirSync } from "node:fs";
import { join, basename } from "node:path";
import { pathToFileURL } from "node:url";

const [checkout, program, ...data] = process.argv.slice(2);
const vendor = join(checkout, "static/vendor");
const { loadMicroPython } = await import(pathToFileURL(join(vendor, "micropython.mjs")));
const interpreter = await loadMicroPython({
  url: join(vendor, "micropython.wasm"),
  heapsize: 16 * 1024 * 1024,
  linebuffer: true,
  stdout: (line) => console.log(line),
});
const put = (path, from) => interpreter.FS.writeFile(path, readFileSync(from, "utf8"));
interpreter.FS.mkdir("/engine");
interpreter.FS.mkdir("/data");
for (const name of readdirSync(join(checkout, "webapp/engine")).filter((n) => n.endsWith(".py"))) {
  put(`/engine/${name}`, join(checkout, "webapp/engine", name));
}
put("/replay.py", join(checkout, "tests/engine/replay.py"));
for (const path of data) put(`/data/${basename(path)}`, path);
interpreter.runPython("import sys; sys.path.insert(0, '/')");
interpreter.runPython(readFileSync(program, "utf8"));
