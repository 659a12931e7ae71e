// Shows what Plimsoll does: renders the demo titles once and names their reports.
import { spawn } from 'node:child_process'
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join, relative } from 'node:path'
import { filesHash, filesUnder, main, ready, root, runNode, sourcesHash } from './ready.mjs'

const DELIVERIES = join(root, 'deliveries')
const SOURCES = join(DELIVERIES, 'demo-sources')

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
  const stamp = join(SOURCES, '.made-from')
  const hash = filesHash(filesUnder('demo'))
  mkdirSync(SOURCES, { recursive: true })
  await once(stamp, hash, async () => {
    console.log('Making the sound of the demo titles ...')
    const makers = TITLES.map(({ id }) => runNode('node_modules/tsx/dist/cli.mjs', ['demo/main.ts', SOURCES, id]))
    if ((await Promise.all(makers)).some((code) => code !== 0)) throw new Error('The demo could not make its sound')
  })
  return hash
}

async function deliver({ id, name, spec, what }, inputHash) {
  const folder = join(DELIVERIES, id)
  await once(join(DELIVERIES, `.${id}-made-from`), `${inputHash} ${spec}`, async () => {
    console.log(`\nDelivering ${name}: ${what}, to ${spec}`)
    const source = join(SOURCES, `${id}.wav`)
    const args = ['deliver', source, '--spec', spec, '--out', folder, '--replace']
    const code = await runNode('dist/cli/main.js', args)
    if (code !== 0) throw new Error(`${name} was not delivered (exit code ${code})`)
  })
  return folder
}

/** Opens a page where there is a display to open it on; that it cannot is never an error. */
function open(path) {
  const isSeen = process.platform !== 'linux' || process.env.DISPLAY || process.env.WAYLAND_DISPLAY
  if (!isSeen || process.env.CI) return
  const [program, ...args] = { darwin: ['open'], win32: ['cmd', '/c', 'start', ''] }[process.platform] ?? ['xdg-open']
  const opener = spawn(program, [...args, path], { detached: true, stdio: 'ignore' })
  opener.on('error', () => {})
  opener.unref()
}

await main(async () => {
  await ready()
  const inputHash = `${await makeSound()} ${sourcesHash()}`
  const reports = []
  for (const title of TITLES) {
    const folder = await deliver(title, inputHash)
    reports.push(join(folder, 'report.html'))
    console.log(`\n${title.name}: ${title.what}. In ${relative(root, folder)}/:`)
    for (const file of readdirSync(folder).sort()) console.log(`  ${file}`)
  }
  console.log('\nSet the monitor level low before you listen. Then try one of your own:')
  console.log('  npx plimsoll deliver MASTER.wav --spec atsc-a85 --out OUTDIR')
  for (const report of reports) console.log(`Ready: ${report}`)
  open(reports[0])
})
