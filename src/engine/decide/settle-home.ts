import type { DeliverySpec, Finding } from '../../domain/index.ts'
import { type Aim, chooseHome, type Home } from './choose-home.ts'
import type { FitCorrection } from './decision.ts'
import { createFitModel, type FitModel } from './fit-model.ts'
import type { FitSource } from './fit-source.ts'
import type { SettledFit } from './stereo-gain.ts'

/** Where the total came to rest, and the model and settings under which it did. */
export type SettledHome = { readonly model: FitModel; readonly home: Home; readonly settings: SettledFit }

/** A ride with less reach than this would follow every window. */
const SHORTEST_REACH_SECONDS = 0.2

/**
 * Chooses the home gain; where the lines keep the total from its tolerance, the reach is halved until they do not: a
 * ride that moves more often is a lesser evil than no delivery. What no reach mends comes to rest under the one asked for.
 */
export function settleHome(
  source: FitSource,
  spec: DeliverySpec,
  asked: Omit<SettledHome, 'home'>,
  correction: FitCorrection,
  aim: Aim,
  sourceLkfs: number,
): SettledHome {
  const first = { ...asked, home: chooseHome(asked.model, aim, sourceLkfs) }
  const isHeldByLines =
    first.home.outcome === 'missed' && first.home.jump === null && asked.model.corridor.lines.length > 0
  for (let reach = asked.settings.rideReachSeconds / 2; isHeldByLines && reach >= SHORTEST_REACH_SECONDS; reach /= 2) {
    const settings = { ...asked.settings, rideReachSeconds: reach }
    const model = createFitModel(source, spec, settings, correction)
    const home = chooseHome(model, aim, sourceLkfs)
    if (home.outcome !== 'missed') return { model, home, settings }
  }
  return first
}

/** Tells that the reach was shortened; nothing where it was not. */
export function findingsOfReach(askedSeconds: number, { settings, model }: SettledHome): Finding[] {
  const takenSeconds = settings.rideReachSeconds
  const line = model.corridor.lines[0]
  if (takenSeconds === askedSeconds || line === undefined) return []
  return [
    {
      id: 'shorter-reach',
      severity: 'warn',
      line: line.field,
      measured: takenSeconds,
      allowed: null,
      unit: 's',
      at: null,
      source: 'setting rideReachSeconds',
      message:
        `With a reach of ${askedSeconds} s no ride meets every line and the total. It reaches ${takenSeconds} s instead ` +
        'and so returns between loud passages that lie close together. Listen to the places where it was forced; ' +
        'trims on the loudest of them would spare the mix.',
    },
  ]
}
