// The glTF validator of the format's makers finds neither errors nor warnings, and files stay small.
import { readFileSync } from "node:fs";
import { validateBytes, version } from "gltf-validator";

const MOST_BYTES = 5_000_000;
let bad = false;
for (const file of process.argv.slice(2)) {
  const bytes = readFileSync(file);
  const { issues, info } = await validateBytes(new Uint8Array(bytes), { uri: file });
  const size = (bytes.length / 1e6).toFixed(2);
  console.log(`${file}: glTF validator ${version()}: ${issues.numErrors} errors, ${issues.numWarnings} warnings, ${issues.numInfos} infos, ${issues.numHints} hints; ${size} MB, ${info.animationCount} animation, ${info.totalTriangleCount} triangles`);
  for (const { severity, code, message, pointer } of issues.messages) {
    if (severity < 2) console.error(`  ${code} at ${pointer}: ${message}`);
  }
  if (bytes.length > MOST_BYTES) console.error(`  larger than ${MOST_BYTES / 1e6} MB`);
  bad ||= issues.numErrors + issues.numWarnings > 0 || bytes.length > MOST_BYTES;
}
process.exit(bad ? 1 : 0);
