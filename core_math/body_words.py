# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The words bones are named with, in several languages, and what each of them stands for.

All words are lower case, without accents and joined ("up" + "leg" is "upleg"). English, German,
French, Spanish, Italian, Portuguese, Dutch, and Japanese in its own script and in Latin letters.
The spelling "wirbelsule" is German whose umlaut was lost in a file.
"""

from __future__ import annotations

# Parts of the body. What a word means exactly is settled later, with the side and the neighbours:
# a "hip" with a side is a thigh, a "shoulder" below a "collar" is an upper arm.
_PARTS = {
    "root": "root master world global main mainroot reference trajectory traj armature origin "
    "rootjoint wurzel racine raiz radice base placement position god all superroot "
    "rootbone bip biped 全ての親 マスター",
    "centre": "cog center centre hipsmaster centreofgravity centerofgravity グルーブ センター",
    "hips": "hips pelvis becken hueften huften bassin bacino bacia quadril kotsuban cadera "
    "caderas bekken lowerbody 下半身 腰 骨盤 koshi",
    "hip": "hip huefte hufte hanche anca heup fianco coxal",
    "hipjoint": "hipjoint",
    "waist": "waist taille cintura vita taillie midriff",
    "spine": "spine wirbelsaeule wirbelsaule wirbelsule wirbel colonne rachis vertebre columna "
    "coluna colonna sebone wervelkolom back dos espalda schiena costas ruecken rucken rug spinal "
    "backbone vertebra vertebrae ruggengraat 背骨 脊椎",
    "abdomen": "abdomen belly stomach bauch ab abs lowerback lumbar lendenwirbel midback ventre "
    "vientre addome barriga pancia buik lowerspine spinelower",
    "chest": "chest thorax torax ribcage rib ribs brust brustkorb poitrine pecho petto peito "
    "torace mune borst upperchest chestupper upperback sternum buste spineupper 胸 上半身2",
    "torso": "torso trunk body rumpf torse busto tronco romp karada 体",
    "upperbody": "upperbody 上半身 oberkoerper oberkorper",
    "neck": "neck hals nacken cou nuque cuello collo pescoco kubi nek necktwist 首",
    "head": "head kopf tete cabeza testa cabeca atama hoofd cranium skull 頭",
    "shoulder": "shoulder shldr schulter epaule hombro spalla ombro kata schouder 肩",
    "clavicle": "clavicle collar collarbone clav scapula schluesselbein schlusselbein "
    "schlsselbein clavicule clavicula clavicola sakotsu sleutelbeen 鎖骨",
    "upperarm": "upperarm uparm uarm armupper humerus oberarm joowan jouwan ninoude bovenarm "
    "brassuperieur brazosuperior 上腕",
    "arm": "arm bras brazo braccio braco ude 腕",
    "forearm": "forearm lowerarm lowarm loarm larmlower armlower farm ulna radius unterarm "
    "avantbras antebrazo avambraccio antebraco zenwan maeude onderarm 前腕",
    "elbow": "elbow ellbogen ellenbogen coude codo gomito cotovelo hiji elleboog ひじ 肘",
    "wrist": "wrist handgelenk poignet muneca polso pulso punho tekubi pols 手首",
    "hand": "hand mano mao te handbone carpus 手",
    "sidedhand": "main",
    "palm": "palm metacarpal metacarpus carpal paume palma inhand handpalm mittelhand",
    "finger": "finger fingers fing fingerbase doigt dedo dito dedos dita yubi vinger 指",
    "thumb": "thumb thumbs daumen pouce pulgar pollice polegar oyayubi duim thmb 親指",
    "index": "index indexfinger zeigefinger indice indicador hitosashi hitosashiyubi pointer "
    "wijsvinger indx findex 人指 人差指",
    "middle": "middle mid middlefinger mittelfinger majeur corazon medio nakayubi midfinger "
    "middelvinger fmiddle 中指",
    "ring": "ring ringfinger annulaire anular anulare anelar kusuriyubi fring 薬指",
    "pinky": "pinky pinkie little littlefinger pinkyfinger kleinfinger kleinerfinger auriculaire "
    "menique mignolo minimo mindinho koyubi pink fpinky small smallfinger pinkiefinger 小指",
    "thigh": "thigh upleg upperleg legupper uleg upperlimb oberschenkel cuisse muslo coscia coxa "
    "momo futomomo bovenbeen femur 太もも もも",
    "leg": "leg jambe pierna gamba perna bein been",
    "legjp": "足 ashi",
    "shin": "shin calf lowerleg lowleg loleg lleg legllower leglower unterschenkel schienbein "
    "wade tibia fibula mollet pantorrilla espinilla polpaccio stinco panturrilha canela sune "
    "onderbeen crus すね",
    "knee": "knee knie genou rodilla ginocchio joelho hiza ひざ 膝",
    "ankle": "ankle knoechel knochel fussgelenk cheville tobillo caviglia tornozelo ashikubi "
    "enkel 足首",
    "foot": "foot feet fuss fu pied pie piede pe voet footbone",
    "toe": "toe toes toebase toebone zeh zehe zehen orteil orteils tsumasaki teen tenen bigtoe "
    "toebig alluce つま先 足先",
    "ball": "ball ballen football forefoot",
    "paw": "paw hoof pfote huf patte pata zampa",
}

# Words that turn a limb into its upper or lower half, or tell front legs from hind legs.
_MODIFIERS = {
    "upper": "upper up uppr upr ober superieur superior superiore",
    "lower": "lower low lo lwr unter inferieur inferior inferiore",
    "front": "front fore fr vorder vorne foreleg forelimb",
    "rear": "rear hind hinter hinten",
}

# What is no joint of the body. The order says which wins in one name.
_OTHERS = {
    "tip": "end nub tip site eff effector leaf endsite tipbone headtop toeend",
    "twist": "twist roll twst tw twis bicep biceps tricep triceps muscle delt deltoid pec pecs "
    "pectoral lat lats glute glutes buttock butt breast breasts boob bust2 nipple volume "
    "corrective jiggle helperbone metatarsal metatarsals 捩 捩れ",
    "face": "face facial eye eyes eyelid eyelids lid lids brow brows eyebrow eyebrows lash lashes "
    "eyelash jaw jawbone mouth lip lips upperlip lowerlip mouthcorner upperlid lowerlid "
    "teeth tooth tongue cheek cheeks nose nostril chin forehead temple snout muzzle beak pupil "
    "iris auge augen kiefer mund nase oeil yeux machoire bouche nez ojo mandibula boca nariz "
    "occhio mascella bocca naso olho queixo kuchi hana ago 目 両目 顎 口 舌",
    "ear": "ear ears ohr ohren oreille oreja orecchio orelha mimi 耳",
    "strand": "hair hairs braid plait ponytail pony pigtail ptail tail bang bangs fringe strand "
    "lock dread dreads cape cloak coat skirt dress cloth cloths clothes belt strap sash scarf tie "
    "ribbon antenna antennae feeler rope chain cable tentacle whisker whiskers beard moustache "
    "mustache veil hood sleeve tassel robe ahoge kami haare haar zopf cheveux tresse queue natte "
    "pelo trenza cola coda treccia cabelo tranca rabo schwanz jupe falda gonna saia trunkhair "
    "staart vlecht rok apron flap lace drape mane 髪 前髪 後髪 しっぽ スカート 尻尾 ネクタイ",
    "wing": "wing wings fin fins flipper feather feathers fluegel flugel aile ala asa 翼",
    "prop": "weapon prop gun sword shield socket attach attachment holder mount marker locator "
    "camera cam bag pad armor armour pouch holster hat helmet glasses item tool pack backpack "
    "axis pin collision rigidbody physics",
    "heel": "heel ferse talon tacon tallone calcanhar kakato hiel rock bank spin pivotfoot",
}

# What a bone is for in a rig, rather than where it sits.
_ROLES = {
    "deform": "def deform bind bnd skin jnt joint jt joints sk env skel bone bones dfm",
    "original": "org",
    "mechanism": "mch mech vis wgt hlp helper driver drv sys proxy aux offset ofs off grp group "
    "zero null space swing",
    "control": "ctrl ctl control controller con cnt cntrl anim ctr handle master",
    "ik": "ik goal",
    "fk": "fk",
    "tweak": "tweak twk",
    "pole": "pole target tgt polevector pv swivel aim ikp",
    "parent": "parent pivot",
}

# Words with a side. Single letters of other languages count only when the rig's names come in
# pairs with them (see body_names).
_SIDES = {
    "L": "l left lt lft links linke linker linkes gauche izquierda izquierdo izq izqda izqdo "
    "sinistra sinistro sx esquerda esquerdo esq hidari lewa lewy 左",
    "R": "r right rt rgt rght rechts rechte rechter rechtes droite droit derecha derecho der dcha "
    "dcho destra destro dx direita direito dir migi prawa prawy 右",
}
_CENTRES = "c x m cn md ctr center centre middleline"

SHORT_SIDES = (*({left: "L", "d": "R"} for left in "gies"), {"lf": "L", "rt": "R"})
"""Letters for left and right in French, Spanish, Portuguese and Italian names, and a pair of
English ones of which the first alone might be "left front".
"""


def _index(tables: dict[str, str]) -> dict[str, str]:
    return {word: meaning for meaning, words in tables.items() for word in words.split()}


PART_WORDS = _index(_PARTS)
MODIFIER_WORDS = _index(_MODIFIERS)
OTHER_WORDS = _index(_OTHERS)
ROLE_WORDS = _index(_ROLES)
SIDE_WORDS = _index(_SIDES)
CENTRE_WORDS = frozenset(_CENTRES.split())
OTHER_ORDER = tuple(_OTHERS)

# Words that may be cut out of a longer one written in one piece ("lefthand", "rupperarm").
GLUED_WORDS = frozenset(
    word
    for table in (PART_WORDS, OTHER_WORDS, MODIFIER_WORDS)
    for word in table
    if len(word) >= 3 or not word.isascii()
) | frozenset(word for word in SIDE_WORDS if len(word) >= 4 or not word.isascii())
