"""A job to start from: it reads and builds as it stands, and says what every key means."""

from pathlib import Path

from railmodel.errors import InputError

STARTER: str = """\
# A job file describes one frame. Everything behind a # is a note to you; the program does not read it.
# Change the numbers, save, and check the job again. Nothing here is a real vehicle.
job: Meadow cart
revision: A
# customer: who it is for        # free text, like address: and note:
units: in                        # what bare numbers are in: in or mm. 4 1/2, 4-1/2", 3' 6 1/2" and 114 mm all read.
datum: middle of the front cross tube, on the centreline of the cart    # where [0, 0, 0] is, in words

# Points are [x, y, z]: x runs rearward, y to the right, z up, all from the datum.

# shop: shop.yaml                # your bender and dies; with it a bend may name a die instead of a radius

tubes:                           # each size of tube, under a name of your own
  main: {height: 3, width: 2, wall: 3/16, corner: 3/8}    # height stands up in the frame; corner is outside
  cross: {height: 2, width: 2, wall: 3/16}                  # corner left out counts as twice the wall

parts:
  - name: side rail
    tube: main
    hand: pair                   # drawn once for the right; the left one is its mirror image
    seam: inboard                # the face the weld seam should end up on
    leading_end: front           # the end that goes through the bender first
    points:                      # the corners of the centreline, as if it had no bends: end, corners, end
      - [0, 15, 20]
      - {at: [30, 15, 20], radius: 7}       # a corner with a bend: the radius is to the middle of the tube
      - {at: [46, 15, 24], radius: 7}       # up 4 over 16: one offset
      - [104, 15, 24]

  - name: front cross tube
    tube: cross
    points: [[1, -14, 20], [1, 14, 20]]     # straight, between the rails (15 to the middle of a rail 2 wide)

  - name: rear cross tube
    tube: cross
    points: [[102, -14, 24], [102, 14, 24]]

# A part can also be written as moves, the way it goes through the bender:
#  - name: tongue
#    tube: main
#    start: {at: [0, 0, 20], heading: [1, 0, 0], top: [0, 0, 1]}
#    path:
#      - straight: 10
#      - bend: {toward: top, angle: 20, radius: 7}
#      - straight: 18

# fit_points:                    # where something bolts on: the gap from the face of a rail to a place
#   - name: axle seat
#     at: [70, 15, 16]
#     to: {part: side rail, face: bottom}
#     gap: {want: 6 1/2, within: 1/8}

# keep_clear:                    # what the rails must not touch, and how it moves
#   - name: axle tube
#     shape: {cylinder: {from: [70, -26, 12], to: [70, 26, 12], diameter: 3}}
#     moves: {up: 4, down: 3, roll: 5}
#     gap: 1
"""


def write_starter(path: Path) -> None:
    """Write the starter job to a new file.

    Raises:
        InputError: there is such a file already, or it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(STARTER)
    except FileExistsError:
        raise InputError(f"{path}: there is such a file already; nothing was written; choose another name") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path}: cannot be written ({reason.lower()}); choose a folder you may write to") from None
