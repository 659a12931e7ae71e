import { spawn } from 'node:child_process'

const OPENERS: Readonly<Record<string, readonly [string, ...string[]]>> = {
  darwin: ['open'],
  win32: ['cmd', '/c', 'start', ''],
}

/**
 * Shows a page or a folder with what the system has for it. False where there is no screen to show it on, or nothing
 * that shows it; that is never an error.
 */
export function showOnScreen(address: string): Promise<boolean> {
  const isSeen = process.platform !== 'linux' || process.env['DISPLAY'] || process.env['WAYLAND_DISPLAY']
  if (!isSeen || process.env['CI']) return Promise.resolve(false)
  const [program, ...args] = OPENERS[process.platform] ?? ['xdg-open']
  const opener = spawn(program, [...args, address], { detached: true, stdio: 'ignore' })
  opener.unref()
  return new Promise((resolve) => {
    opener.on('spawn', () => resolve(true))
    opener.on('error', () => resolve(false))
  })
}
