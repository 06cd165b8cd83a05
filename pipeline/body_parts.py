"""Which parts of the body belong together: one within the other, or parts of one limb or one paired organ;
and which sentences are about an eye."""

from __future__ import annotations

from collections.abc import Set

from pipeline.grammar import Grammar
from pipeline.records import Sentence
from pipeline.rows import Concept, Drug

# Parts of which one side stands for the same side of the operation. Common practice, no source.
_REGIONS = tuple(frozenset(names.split()) for names in (
    "shoulder elbow wrist hand finger humerus ulna radius arm forearm upper-extremity thumb index-finger middle-finger "
    "ring-finger small-finger carpal-tunnel palm humeral-shaft radial-shaft palmar-fascia clavicle distal-clavicle "
    "scapula biceps-tendon distal-biceps triceps deltoid median-nerve ulnar-nerve radial-nerve axillary-nerve "
    "musculocutaneous-nerve posterior-interosseous-nerve superficial-radial-nerve digital-nerve flexor-tendon "
    "extensor-tendon flexor-carpi-radialis radial-artery ulnar-artery brachial-artery cephalic-vein basilic-vein "
    "antecubital-fossa dialysis-fistula brachial-plexus suprascapular-nerve flexor-pronator-mass "
    "flexor-digitorum-profundus flexor-digitorum-superficialis extensor-digitorum flexor-pollicis-longus "
    "extensor-pollicis-longus abductor-pollicis-longus flexor-carpi-ulnaris palmaris-longus ulnar-collateral-ligament "
    "radial-collateral-ligament palmar-cutaneous-branch",
    "hip knee ankle foot toe femur tibia fibula patella leg thigh calf shin lower-extremity great-toe little-toe heel "
    "forefoot hindfoot midfoot achilles-tendon tibial-shaft femoral-shaft distal-fibula fibular-head sciatic-nerve "
    "peroneal-nerve common-peroneal-nerve superficial-peroneal-nerve deep-peroneal-nerve sural-nerve tibial-nerve "
    "saphenous-nerve popliteal-fossa popliteal-artery popliteal-vein femoral-artery common-femoral-artery "
    "superficial-femoral-artery femoral-vein common-femoral-vein saphenous-vein greater-saphenous-vein "
    "lesser-saphenous-vein posterior-tibial-artery dorsalis-pedis gastrocnemius peroneal-tendon quadriceps hamstring "
    "iliotibial-band gluteus-medius gluteus-maximus sole-of-the-foot dorsum-of-the-foot gluteus-minimus "
    "abductor-tendon tensor-fascia-lata short-external-rotators piriformis semitendinosus gracilis vastus-medialis "
    "vastus-lateralis lateral-retinaculum medial-retinaculum tibialis-anterior tibialis-posterior peroneus-brevis "
    "peroneus-longus flexor-hallucis-longus extensor-hallucis-longus extensor-digitorum-brevis abductor-hallucis "
    "adductor-hallucis femoral-nerve lateral-femoral-cutaneous-nerve inferior-pole-of-the-patella patellar-facet",
    "kidney ureter renal-artery renal-vein renal-pedicle renal-pelvis ureteropelvic-junction ureteral-orifice "
    "ureterovesical-junction flank adrenal-gland",
    "groin inguinal-canal inguinal-ligament internal-ring external-ring spermatic-cord testis epididymis vas-deferens "
    "ilioinguinal-nerve hesselbach-triangle femoral-triangle scrotum",
    "ovary adnexa fallopian-tube fimbria ovarian-vessels",
    "breast axilla axillary-tail nipple areola nipple-areolar-complex upper-outer-quadrant-of-the-breast sentinel-node "
    "thoracodorsal-nerve long-thoracic-nerve pectoralis-major",
    "eye upper-eyelid lower-eyelid eyelid orbit orbital-floor orbital-rim optic-nerve lacrimal-sac canaliculus "
    "nasolacrimal-duct",
    "ear ear-canal pinna mastoid temporal-bone",
    "lung pleura bronchus mainstem-bronchus upper-lobe lower-lobe middle-lobe lingula chest",
    "thyroid thyroid-lobe recurrent-laryngeal-nerve parathyroid-gland",
    "carotid-artery common-carotid-artery internal-carotid-artery external-carotid-artery carotid-bifurcation",
    "groin femoral-triangle inguinal-ligament femoral-artery common-femoral-artery superficial-femoral-artery "
    "femoral-vein common-femoral-vein saphenous-vein greater-saphenous-vein leg",
    "neck carotid-artery common-carotid-artery internal-carotid-artery external-carotid-artery carotid-bifurcation "
    "thyroid thyroid-lobe parathyroid-gland parotid-gland submandibular-gland submandibular-space",
    "parotid-gland cheek face",
    "nose nostril nasal-cavity turbinate inferior-turbinate middle-turbinate maxillary-sinus ethmoid-sinus "
    "frontal-sinus sphenoid-sinus paranasal-sinus",
))  # fmt: skip


def related_sites(first: Concept, second: Concept, grammar: Grammar) -> bool:
    """The same part of the body, one within the other, or two parts of the same limb or paired organ."""
    one, other = chain(first, grammar), chain(second, grammar)
    return bool(one & other) or any(one & region and other & region for region in _REGIONS)


def chain(site: Concept, grammar: Grammar) -> set[str]:
    """The ids of a part of the body and of all that it lies in."""
    sites = grammar.table("sites", Concept)
    found: set[str] = set()
    here: Concept | None = site
    while here is not None and here.id not in found:
        found.add(here.id)
        here = sites.get(here.within)
    return found


def limbs(places: Set[str], grammar: Grammar) -> frozenset[str]:
    """Which limbs these parts of the body are of: "upper", "lower", both or none."""
    sites = grammar.table("sites", Concept)
    within = set().union(*(chain(sites[place], grammar) for place in places if place in sites))
    return frozenset(name for name, region in zip(("upper", "lower"), _REGIONS, strict=False) if within & region)


def about_an_eye(sentence: Sentence, grammar: Grammar) -> bool:
    """Whether a sentence names an operation, a disease or a part of the eye, or what only eyes are given."""
    for mention in sentence.mentions:
        row = grammar.tables.get(mention.table, {}).get(mention.id)
        if isinstance(row, Concept) and (
            row.group == "eye" or "eye" in (row.site, row.id) or "eye" in (row.within, _within(row.site, grammar))
        ):
            return True
        if mention.table == "drugs" and isinstance(row, Drug) and not _OF_EYES.isdisjoint(row.classes):
            return True
        if not _ONLY_EYES.isdisjoint(mention.id.split("-")):
            return True
    return False


_OF_EYES = frozenset({"ophthalmic", "anti_vegf"})
_ONLY_EYES = frozenset({"tenon", "intraocular", "peribulbar", "retrobulbar", "intracameral", "intravitreal"})


def _within(site: str, grammar: Grammar) -> str:
    row = grammar.table("sites", Concept).get(site)
    return row.within if row is not None else ""
