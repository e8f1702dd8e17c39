"""How far a moving walker may go before anything about it can change.

A walker that has room needs no looking after: it goes on in one arc. So whenever its room is used up it is
worked out anew how far it is to whatever might come next: its body or its whiskers at a wall or at another,
another's whiskers at its body, its shadow on another's eye or panel, or off it. Each such gap [m] is turned
into a way of the driven tyre in which no part that matters can pass it: the tyre turns the walker about the
other one, so a part at the distance d from there moves by d / track of the tyre's way at the most.

Two that move share the gap between them: each may use up a half of it. What one that waits does to the room
of those that move, by firing, by coming to rest or by being pushed, is told to them by ending it.
"""

import math
from typing import Any

from agents.compiled import kernel
from arena.engine.gaps import body_body_gap, body_wall_gap
from arena.engine.grid import gather
from arena.engine.senses import TOUCH_GAP, list_walls, receptor
from arena.engine.walls import Walls, square_to
from arena.engine.world_arrays import FOUND, RECEPTORS, WAITING, Crowd, Scene
from replays.format.tables import LEFT

# Room that is looked for about a walker [m].
ROOM = 0.03
# What rounding might take away of a gap [m].
DOUBT = 1e-6


@kernel
def look_about(scene: Scene, crowd: Crowd, number: int, time: float) -> None:
    """Work out how far a moving walker may go from where it stands at ``time`` [s].

    Sets ``left``, the way of its tyre [m] up to its next look; ``near`` where it may meet something before,
    ``close`` where something else may change before, so that looks are bound in time as well.
    """
    body, settings = crowd.bodies[number], crowd.settings[0]
    walker = crowd.walkers[body["built"]]
    tolerances = settings["tolerances"]
    least = tolerances["look_way"] + tolerances["stride"]
    if body["near_x"] != body["x"] or body["near_y"] != body["y"]:
        list_walls(scene.walls, crowd, number)
    free, quiet = ways_to_walls(scene.walls, walker, body)
    if len(crowd.bodies) > 1:
        reach = settings["influence"] + ROOM
        found = gather(
            settings, crowd.heads, crowd.bodies, crowd.lists, body["disc_x"], body["disc_y"], reach
        )
        # whoever is farther away, and moves as far, is not met either
        quiet = min(quiet, ROOM)
        for place in range(found):
            which = crowd.lists[place, FOUND]
            if which == number:
                continue
            free, quiet = ways_to_other(scene, crowd, number, which, free, quiet)
    left = min(free, quiet)
    body["looked"] = time
    body["near"] = free < least
    body["close"] = left < tolerances["look_way"]
    body["left"] = max(left, tolerances["look_way"])


@kernel
def end_room(body: Any, look_way: float) -> None:
    """Have a moving walker look again before long, and be freed of contacts until then."""
    body["left"] = min(body["left"], look_way)
    body["near"] = True
    body["close"] = True


@kernel
def swing(walker: Any, side: int, ahead: float, aside: float) -> float:
    """How far a part of a walker moves for a way of one of its tyre of that ``side``, the other standing."""
    standing = -0.5 * walker["track"] if side == LEFT else 0.5 * walker["track"]
    out = aside - standing
    return math.sqrt(ahead * ahead + out * out) / walker["track"]


@kernel
def middle_swing(walker: Any, body: Any) -> float:
    """The same for the middle of a walker's body."""
    return swing(walker, body["side"], walker["body_ahead"], 0.0)


@kernel
def whisker_swing(walker: Any, body: Any) -> float:
    """The same for the part of a walker's whiskers that moves most; 0 without whiskers."""
    most = 0.0
    for number in range(2):
        side = walker["side"][number]
        if side["whisker"] == 1:
            most = max(most, swing(walker, body["side"], side["root_ahead"], side["root_aside"]))
            most = max(most, swing(walker, body["side"], side["tip_ahead"], side["tip_aside"]))
    return most


@kernel
def farthest_of_body(walker: Any) -> float:
    """Distance [m] from the middle of the axle to the farthest part of the body."""
    return abs(walker["body_ahead"]) + walker["body_reach"]


@kernel
def whisker_ends(body: Any, side: Any) -> tuple[float, float, float, float]:
    """Where root and tip of a walker's whisker are [m]."""
    x, y, cosine, sine = body["x"], body["y"], body["cosine"], body["sine"]
    return (
        x + cosine * side["root_ahead"] - sine * side["root_aside"],
        y + sine * side["root_ahead"] + cosine * side["root_aside"],
        x + cosine * side["tip_ahead"] - sine * side["tip_aside"],
        y + sine * side["tip_ahead"] + cosine * side["tip_aside"],
    )


@kernel
def segment_gap(
    ax: float, ay: float, bx: float, by: float, cx: float, cy: float, dx: float, dy: float
) -> float:
    """Distance [m] between the segments a–b and c–d; 0 where they cross."""
    first = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    second = (bx - ax) * (dy - ay) - (by - ay) * (dx - ax)
    third = (dx - cx) * (ay - cy) - (dy - cy) * (ax - cx)
    fourth = (dx - cx) * (by - cy) - (dy - cy) * (bx - cx)
    if first * second <= 0.0 and third * fourth <= 0.0:
        return 0.0
    square = min(square_to(ax, ay, bx, by, cx, cy), square_to(ax, ay, bx, by, dx, dy))
    square = min(square, square_to(cx, cy, dx, dy, ax, ay), square_to(cx, cy, dx, dy, bx, by))
    return math.sqrt(square)


@kernel
def ways_to_walls(walls: Walls, walker: Any, body: Any) -> tuple[float, float]:
    """How far a tyre may roll before its walker's body can meet a wall, and before any part of it can [m]."""
    longest, farthest = body["span"], farthest_of_body(walker)
    reach = walker["body_reach"]
    of_middle = middle_swing(walker, body)
    # the axle's middle moves by half of the tyre's way; squares list no walls beyond their reach
    most = 2.0 * (walls.squares[0]["reach"] - longest)
    free, quiet = most, most
    for index in range(body["near_first"], body["near_first"] + body["near_count"]):
        wall = walls.records[walls.near[index]]
        ax, ay, bx, by = wall["ax"], wall["ay"], wall["bx"], wall["by"]
        apart = math.sqrt(square_to(ax, ay, bx, by, body["x"], body["y"]))
        if 2.0 * (apart - longest) >= quiet:
            continue
        of_body = of_middle
        gap = math.sqrt(square_to(ax, ay, bx, by, body["disc_x"], body["disc_y"])) - reach
        if gap < 0.1 * reach and walker["core_count"] > 1:
            points, corners = body["points"], walker["core_count"]
            gap, _, _ = body_wall_gap(points, corners, walker["body_radius"], ax, ay, bx, by)
            of_body += reach / walker["track"]
        free = min(free, max(2.0 * (apart - farthest), gap / of_body))
        near = (gap - TOUCH_GAP) / of_body
        for number in range(2):
            side = walker["side"][number]
            if side["whisker"] == 1 and wall["height"] > side["whisker_height"]:
                rx, ry, tx, ty = whisker_ends(body, side)
                gap = segment_gap(rx, ry, tx, ty, ax, ay, bx, by)
                of_tip = swing(walker, body["side"], side["tip_ahead"], side["tip_aside"])
                of_root = swing(walker, body["side"], side["root_ahead"], side["root_aside"])
                near = min(near, gap / max(of_tip, of_root))
        quiet = min(quiet, max(2.0 * (apart - longest), near))
    return free - DOUBT, quiet - DOUBT


@kernel
def whisker_gap(walker: Any, body: Any, x: float, y: float) -> float:
    """Distance [m] from the nearer whisker of a walker to (x, y); inf without whiskers."""
    nearest = math.inf
    for number in range(2):
        side = walker["side"][number]
        if side["whisker"] == 1:
            rx, ry, tx, ty = whisker_ends(body, side)
            nearest = min(nearest, square_to(rx, ry, tx, ty, x, y))
    return math.sqrt(nearest)


@kernel
def ways_to_other(
    scene: Scene, crowd: Crowd, number: int, which: int, free: float, quiet: float
) -> tuple[float, float]:
    """Bound how far the tyre of ``number`` may roll [m], as by walls, by the walker ``which`` near it.

    Bounds the room of ``which`` too, if that moves.
    """
    body, other = crowd.bodies[number], crowd.bodies[which]
    walker, built = crowd.walkers[body["built"]], crowd.walkers[other["built"]]
    moves = other["phase"] > WAITING and not other["is_held"]
    of_middle = middle_swing(walker, body)
    if not moves:
        quiet = min(quiet, shadow_gap(scene, crowd, which, number, of_middle * quiet) / of_middle - DOUBT)
    # by circles about the axles, which no turn can leave
    dx, dy = other["x"] - body["x"], other["y"] - body["y"]
    apart = math.sqrt(dx * dx + dy * dy)
    longest, farthest = body["span"], farthest_of_body(walker)
    others_longest, others_farthest = other["span"], farthest_of_body(built)
    share = 0.5 if moves else 1.0
    free_about = 2.0 * share * (apart - farthest - others_farthest)
    quiet_about = 2.0 * share * (apart - max(longest + others_farthest, farthest + others_longest))
    if quiet_about >= max(free, quiet) and not moves:
        return free, quiet
    dx, dy = other["disc_x"] - body["disc_x"], other["disc_y"] - body["disc_y"]
    gap = math.sqrt(dx * dx + dy * dy) - walker["body_reach"] - built["body_reach"]
    round_them = walker["core_count"] == 1 and built["core_count"] == 1
    is_round = gap >= 0.1 * walker["body_reach"] or round_them
    if not is_round:
        gap, _, _ = body_body_gap(
            body["points"],
            walker["core_count"],
            walker["body_radius"],
            other["points"],
            built["core_count"],
            built["body_radius"],
        )
    gap = share * (gap - DOUBT)
    feels = share * (whisker_gap(walker, body, other["disc_x"], other["disc_y"]) - built["body_reach"])
    felt = share * (whisker_gap(built, other, body["disc_x"], body["disc_y"]) - walker["body_reach"])
    touch = gap - TOUCH_GAP
    of_body = of_middle if is_round else of_middle + walker["body_reach"] / walker["track"]
    near = min(touch / of_body, felt / of_middle)
    if feels < math.inf:
        near = min(near, feels / whisker_swing(walker, body))
    free = min(free, max(free_about, gap / of_body))
    quiet = min(quiet, max(quiet_about, near))
    if moves:
        tolerances = crowd.settings[0]["tolerances"]
        of_other = middle_swing(built, other)
        if not is_round:
            of_other += built["body_reach"] / built["track"]
        room = min(touch / of_other, feels / of_other)
        if felt < math.inf:
            room = min(room, felt / whisker_swing(built, other))
        room = max(room, quiet_about)
        if room < tolerances["look_way"]:
            other["close"] = True
        if max(free_about, gap / of_other) < tolerances["look_way"] + tolerances["stride"]:
            other["near"] = True
        other["left"] = min(other["left"], max(room, tolerances["look_way"]))
    return free, quiet


@kernel
def shadow_gap(scene: Scene, crowd: Crowd, number: int, mover: int, most: float) -> float:
    """How far the middle of ``mover`` may go [m] before its shadow can fall on, or off, a part of ``number``.

    No more than ``most``. A body hides a source from a receptor where its middle is nearer than its radius to
    that part of the ray that runs lower than its top: see :func:`arena.engine.shadow.body_hides`.
    """
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    other = crowd.bodies[mover]
    radius, top = other["disc_radius"], other["disc_height"]
    width = radius + crowd.settings[0]["receptors"]
    middle_x, middle_y = other["disc_x"], other["disc_y"]
    eye = min(walker["side"][0]["eye_height"], walker["side"][1]["eye_height"])
    lowest = min(eye, walker["panel_height"])
    for lamp in range(len(scene.sources)):
        source = scene.sources[lamp]
        first, last = low_part(lowest, source["z"], top)
        x, y = body["x"], body["y"]
        dx, dy = source["x"] - x, source["y"] - y
        # from the lowest receptor the low part is longest
        square = square_to(x, y, x + last * dx, y + last * dy, middle_x, middle_y)
        if square >= (most + width) * (most + width):
            continue
        for place in range(RECEPTORS):
            if crowd.lit[number, place, lamp] <= 0.0:
                continue
            receiver = receptor(walker, body, place)
            first, last = low_part(receiver.pz, source["z"], top)
            if first >= last:
                continue
            x, y = receiver.px, receiver.py
            dx, dy = source["x"] - x, source["y"] - y
            apart = math.sqrt(
                square_to(x + first * dx, y + first * dy, x + last * dx, y + last * dy, middle_x, middle_y)
            )
            gap = abs(apart - radius)
            cx, cy = middle_x - x, middle_y - y
            if receiver.pz < top and cx * cx + cy * cy < (radius + most) * (radius + most):
                # it may stand over the receptor, or come to: then it matters to which side
                length = math.sqrt(dx * dx + dy * dy)
                toward = abs(cx * dx + cy * dy) / length if length > 0.0 else 0.0
                if apart < radius or cx * cx + cy * cy < radius * radius:
                    gap = min(gap, toward)
            most = min(most, gap)
    return max(most, 0.0)


@kernel
def low_part(low: float, high: float, top: float) -> tuple[float, float]:
    """Between which shares of its way a ray from the height ``low`` to ``high`` runs lower than ``top``."""
    rise = high - low
    if rise > 0.0:
        return 0.0, min(max((top - low) / rise, 0.0), 1.0)
    if low < top or rise == 0.0:
        return 0.0, 1.0 if low < top else 0.0
    return min((low - top) / -rise, 1.0), 1.0


@kernel
def spacing(walls: Walls, crowd: Crowd, number: int) -> float:
    """Smallest gap [m] between a body and any wall or other body; negative where they overlap."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    corners, radius = walker["core_count"], walker["body_radius"]
    smallest = math.inf
    for index in range(len(walls.records)):
        wall = walls.records[index]
        gap, _, _ = body_wall_gap(
            body["points"], corners, radius, wall["ax"], wall["ay"], wall["bx"], wall["by"]
        )
        smallest = min(smallest, gap)
    for index in range(len(crowd.bodies)):
        if index != number:
            others, built = crowd.bodies[index]["points"], crowd.walkers[crowd.bodies[index]["built"]]
            count, rounding = built["core_count"], built["body_radius"]
            gap, _, _ = body_body_gap(body["points"], corners, radius, others, count, rounding)
            smallest = min(smallest, gap)
    return smallest
