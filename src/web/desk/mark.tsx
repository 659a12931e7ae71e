/** Plimsoll's mark: a circle crossed by one line. */
export function Mark() {
  return (
    <svg className="mark" width="24" height="22" viewBox="0 0 22 20" aria-hidden="true">
      <circle cx="11" cy="10" r="6" />
      <path d="M1 10h20" />
    </svg>
  )
}
