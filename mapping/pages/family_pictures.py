"""Three line drawings of our own, where a picture says more than words; the words stand beside each."""

from __future__ import annotations

_OPEN = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 180 120" width="180" height="120" aria-hidden="true" '
    'fill="none" stroke="#22201c" stroke-width="2" stroke-linecap="round" stroke-linejoin="round">'
)
_SOFT = 'stroke="#8a8272" stroke-width="1.4"'

_BED = (
    f'{_OPEN}<rect x="12" y="16" width="156" height="88" rx="4"/>'  # the crib from above, its slats on two sides
    f'<rect x="20" y="24" width="140" height="72" rx="3" {_SOFT}/>'
    + "".join(f'<path d="M{x} 16v8M{x} 96v8" {_SOFT}/>' for x in range(28, 160, 12))
    + '<circle cx="56" cy="60" r="14"/>'  # a face that looks up: on the back
    '<path d="M51 58v1M61 58v1M52 66q4 3 8 0M55 61q1 1 2 0"/>'
    '<path d="M70 52q8-6 20-6h22q10 0 14 6M70 68q8 6 20 6h22q10 0 14-6"/>'  # the sleep sack
    '<path d="M126 52q12 8 0 16M84 46q-4-12 4-16M84 74q-4 12 4 16"/>'
    '<circle cx="89" cy="29" r="3"/><circle cx="89" cy="91" r="3"/></svg>'
)
_SEAT = (
    f'{_OPEN}<path d="M58 14q32-10 64 0l8 66q-2 22-40 24q-38-2-40-24z"/>'  # the shell from the front
    f'<path d="M66 22q24-7 48 0l6 56q-4 16-30 17q-26-1-30-17z" {_SOFT}/>'
    '<circle cx="90" cy="36" r="13"/><path d="M85 35v1M95 35v1M86 41q4 3 8 0"/>'
    '<path d="M77 50q-8 12-6 30q2 12 19 12t19-12q2-18-6-30"/>'
    '<path d="M78 50l6 30M102 50l-6 30M84 80h12M90 80v10"/>'  # two straps and the one between the legs
    '<rect x="80" y="58" width="20" height="7" rx="2" fill="#22201c"/>'  # the clip at the armpits
    '<rect x="84" y="77" width="12" height="8" rx="2"/></svg>'
)
_LATCH = (
    f'{_OPEN}<path d="M14 8q2 30 34 44q26 10 30 22q-8 14-34 20q-26 6-30 22"/>'  # the breast, from the left
    '<path d="M78 70q8 1 10 4q-2 4-11 4"/>'
    '<path d="M150 20q-34-12-52 10q-6 10-8 24q-6 4-4 8q5 2 6 5"/>'  # forehead, nose, upper lip
    '<path d="M92 67q8 7 0 15q-6 3-2 7q4 4 8 14q14 10 30 6"/>'  # open mouth, lower lip turned out, chin
    '<path d="M112 50q6-3 10 0M134 60q8-2 8 6t-8 8"/>'
    f'<path d="M150 20q16 12 14 44q-2 26-36 45" {_SOFT}/></svg>'
)

PICTURES = {"bed": _BED, "seat": _SEAT, "latch": _LATCH}
