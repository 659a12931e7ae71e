// The same programmes as long as programmes are: minutes of each, and three quarters of an hour of drama, film and music.
import type { Recipe } from './material.ts'
import { RECIPES } from './material.ts'

const MINUTE = 60
/** How much louder or softer the loud scenes are, minute by minute: no two alike, as in a story. */
const RAISED_MORE_DB = [0, -3, 2, -5, 1] as const
const PIECE_MINUTES = 3
const PIECES = [
  'drama, acted',
  'film, excess low end',
  'dialogue only',
  'film, louder',
  'drama, read',
  'music, wide range',
]
const REELS = 15

/** The scenes, hits and booms of a minute in every minute, shifted by some seconds; a promo stays as short as it is. */
export function lasting(recipe: Recipe, minutes: number): Recipe {
  if (recipe.seconds < MINUTE || minutes <= 1) return recipe
  const starts = Array.from({ length: minutes }, (_, index) => index * MINUTE + ((index * 7) % 5))
  return {
    ...recipe,
    name: `${recipe.name}, ${minutes} min`,
    seconds: minutes * MINUTE,
    loudScenes: starts.flatMap((start, index) =>
      recipe.loudScenes.map(([at, length, raisedDb], scene) => {
        const more = RAISED_MORE_DB[(index + scene) % RAISED_MORE_DB.length] as number
        return [start + at, length, raisedDb + more] as const
      }),
    ),
    hits: starts.flatMap((start) => recipe.hits.map((at) => start + at)),
    booms: starts.flatMap((start) => recipe.booms.map(([at, length]) => [start + at, length] as const)),
  }
}

/** The reels of a programme of 45 minutes in 5.1: the same kinds again and again, every time of other sounds. */
export const REEL_RECIPES: readonly Recipe[] = Array.from({ length: REELS }, (_, index) => {
  const kind = PIECES[index % PIECES.length] as string
  const recipe = RECIPES.find(({ name }) => name === `${kind}, 5.1`)
  if (recipe === undefined) throw new Error(`no recipe "${kind}"`)
  return { ...lasting({ ...recipe, seed: 601 + index }, PIECE_MINUTES), name: `reel ${index + 1}` }
})

export const JOINED = { name: 'series, 5.1, 45 min', layout: '5.1', isHot: false } as const
