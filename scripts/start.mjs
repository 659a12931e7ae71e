// Shows what Plimsoll does: renders the demo titles once, delivers them, and opens the desk on them.
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { filesHash, filesUnder, main, ready, root, runNode, sourcesHash } from './ready.mjs'

const SHELF = join(root, 'demo-titles')

/** The invented titles of the demo and the spec that each is delivered to. */
const TITLES = [
  { id: 'saltmarsh-lane', name: 'Saltmarsh Lane', spec: 'atsc-a85', what: 'a stereo drama master, upmixed to 5.1' },
  { id: 'harbour-day', name: 'Harbour Day', spec: 'ebu-r128', what: 'a 5.1 regatta broadcast that is too loud' },
]

/** Does the work unless its stamp says that it was done from the same inputs; marks it as done only when it succeeded. */
async function once(stamp, hash, work) {
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === hash) return
  rmSync(stamp, { force: true })
  await work()
  writeFileSync(stamp, hash)
}

async function makeSound() {
  const stamp = join(SHELF, '.made-from')
  const hash = filesHash(filesUnder('demo'))
  mkdirSync(SHELF, { recursive: true })
  await once(stamp, hash, async () => {
    console.log('Making the sound of the demo titles ...')
    const makers = TITLES.map(({ id }) => runNode('node_modules/tsx/dist/cli.mjs', ['demo/main.ts', SHELF, id]))
    if ((await Promise.all(makers)).some((code) => code !== 0)) throw new Error('The demo could not make its sound')
  })
  return hash
}

const plimsoll = (...words) => runNode('dist/cli/main.js', words)

/** Writes the sheet of a title, called as a mixer would call it; one that is there already keeps its decisions. */
async function writeSheet({ id, name, spec }) {
  const sheet = join(SHELF, `${id}.sheet.json`)
  if (existsSync(sheet)) return sheet
  const code = await plimsoll('sheet', 'new', join(SHELF, `${id}.wav`), '--out', sheet, '--spec', spec, '--quiet')
  if (code !== 0) throw new Error(`The sheet of ${name} was not written (exit code ${code})`)
  writeFileSync(sheet, readFileSync(sheet, 'utf8').replace(`"name": "${id}"`, `"name": "${name}"`))
  return sheet
}

async function deliver(title, inputHash) {
  const { id, name, spec, what } = title
  const sheet = await writeSheet(title)
  await once(join(SHELF, `.${id}-made-from`), inputHash, async () => {
    console.log(`\nDelivering ${name}: ${what}, to ${spec}`)
    const code = await plimsoll('deliver', sheet, '--out', join(SHELF, 'deliveries', id), '--replace')
    // A demo that was trimmed out of its spec by hand is still a demo.
    if (code > 1) throw new Error(`${name} was not delivered (exit code ${code})`)
  })
}

await main(async () => {
  await ready()
  const inputHash = `${await makeSound()} ${sourcesHash()}`
  for (const title of TITLES) await deliver(title, inputHash)
  console.log('\nSet the monitor level low before you listen. The desk opens on the demo titles; Ctrl-C ends it.')
  console.log('To try titles of your own: npx plimsoll desk FOLDER')
  return plimsoll('desk', SHELF, '--measure', ...process.argv.slice(2))
})
