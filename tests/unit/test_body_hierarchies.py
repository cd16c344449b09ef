# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The body map on whole hierarchies as they are met in productions, helper bones and all.

Written down from common practice, without places: names and hierarchy alone have to do. "%" stands
for the word for the side, ">" leads to a child on the same line.
"""

from dataclasses import dataclass

import pytest

from fettle.core_math.body_parts import Bone, guess_body_map


@dataclass
class Hierarchy:
    """A tree of names, the words for the sides, and what some of the bones are."""

    tree: str
    sides: tuple
    parts: str


HIERARCHIES = {
    "numbered spine, ankles and feet": Hierarchy(
        """
Pelvis
  %_Hip > %_Knee > %_Ankle > %_Foot
  Spine1 > Spine2 > Spine3
    Neck > Head
    %_Collar > %_Shoulder > %_Elbow > %_Wrist > %_Hand
""",
        ("L", "R"),
        "hips=Pelvis spine=Spine1 chest=Spine3 neck=Neck head=Head thigh.%=%_Hip "
        "shin.%=%_Knee foot.%=%_Ankle toe.%=%_Foot shoulder.%=%_Collar "
        "upper_arm.%=%_Shoulder forearm.%=%_Elbow hand.%=%_Wrist",
    ),
    "side last, spine base and mid": Hierarchy(
        """
SpineBase
  SpineMid > SpineShoulder
    Neck > Head
    Shoulder% > Elbow% > Wrist%
      Hand% > HandTip%
      Thumb%
  Hip% > Knee% > Ankle% > Foot%
""",
        ("Left", "Right"),
        "hips=SpineBase spine=SpineMid chest=SpineShoulder head=Head "
        "upper_arm.%=Shoulder% forearm.%=Elbow% hand.%=Wrist% thigh.%=Hip% shin.%=Knee% "
        "foot.%=Ankle% toe.%=Foot%",
    ),
    "vertebrae": Hierarchy(
        """
Pelvis
  L5 > L3 > T12 > T8
    Neck > Head
    %Shoulder > %UpperArm > %ForeArm > %Hand
  %UpperLeg > %LowerLeg > %Foot > %Toe
""",
        ("Left", "Right"),
        "hips=Pelvis spine=L5 chest=T8 neck=Neck spine/3=T12 shoulder.%=%Shoulder "
        "upper_arm.%=%UpperArm thigh.%=%UpperLeg toe.%=%Toe",
    ),
    "middle marked M, parts and cups": Hierarchy(
        """
Root_M
  Spine1_M > Chest_M
    Neck_M > Head_M
      Eye_%
      Jaw_M
    Scapula_% > Shoulder_% > ShoulderPart1_% > Elbow_% > ElbowPart1_% > Wrist_%
      ThumbFinger1_% > ThumbFinger2_% > ThumbFinger3_% > ThumbFinger4_%
      IndexFinger1_% > IndexFinger2_% > IndexFinger3_% > IndexFinger4_%
      Cup_% > PinkyFinger1_% > PinkyFinger2_% > PinkyFinger3_% > PinkyFinger4_%
  Hip_% > HipPart1_% > Knee_% > Ankle_% > Toes_% > ToesEnd_%
""",
        ("L", "R"),
        "hips=Root_M spine=Spine1_M chest=Chest_M neck=Neck_M head=Head_M "
        "shoulder.%=Scapula_% upper_arm.%=Shoulder_% forearm.%=Elbow_% hand.%=Wrist_% "
        "thigh.%=Hip_% shin.%=Knee_% foot.%=Ankle_% toe.%=Toes_% pinky.%=PinkyFinger1_% "
        "index.%=IndexFinger1_%",
    ),
    "long prefix, numbered fingers": Hierarchy(
        """
Zo.Bip01
  Zo.Bip01_Pelvis
    Zo.Bip01_%_Thigh > Zo.Bip01_%_Calf > Zo.Bip01_%_Foot > Zo.Bip01_%_Toe0
    Zo.Bip01_Spine > Zo.Bip01_Spine1 > Zo.Bip01_Spine2 > Zo.Bip01_Spine4
      Zo.Bip01_Neck1 > Zo.Bip01_Head1
      Zo.Bip01_%_Clavicle > Zo.Bip01_%_UpperArm > Zo.Bip01_%_Forearm > Zo.Bip01_%_Hand
        Zo.Bip01_%_Finger0 > Zo.Bip01_%_Finger01 > Zo.Bip01_%_Finger02
        Zo.Bip01_%_Finger1 > Zo.Bip01_%_Finger11 > Zo.Bip01_%_Finger12
        Zo.Bip01_%_Finger2 > Zo.Bip01_%_Finger21 > Zo.Bip01_%_Finger22
        Zo.Anim_Attachment_%H
""",
        ("L", "R"),
        "root=Zo.Bip01 hips=Zo.Bip01_Pelvis chest=Zo.Bip01_Spine4 "
        "head=Zo.Bip01_Head1 thumb.%=Zo.Bip01_%_Finger0 "
        "index.%=Zo.Bip01_%_Finger1 middle.%=Zo.Bip01_%_Finger2 "
        "middle.%/2=Zo.Bip01_%_Finger21 toe.%=Zo.Bip01_%_Toe0",
    ),
    "prefix, helpers beside the joints": Hierarchy(
        """
bip_pelvis
  bip_spine_0 > bip_spine_1 > bip_spine_2 > bip_spine_3
    bip_neck > bip_head
    bip_collar_% > bip_upperArm_%
      hlp_upperarm_%
      bip_lowerArm_%
        hlp_forearm_%
        bip_hand_%
          bip_thumb_0_% > bip_thumb_1_% > bip_thumb_2_%
          bip_index_0_% > bip_index_1_% > bip_index_2_%
          weapon_bone_%
  bip_hip_% > bip_knee_% > bip_foot_% > bip_toe_%
""",
        ("L", "R"),
        "hips=bip_pelvis spine=bip_spine_0 chest=bip_spine_3 thumb.%=bip_thumb_0_% "
        "thumb.%/3=bip_thumb_2_% upper_arm.%=bip_upperArm_% forearm.%=bip_lowerArm_% "
        "thigh.%=bip_hip_% shin.%=bip_knee_%",
    ),
    "one letter before every word": Hierarchy(
        """
mPelvis
  mTorso > mChest
    mNeck > mHead
    mCollar% > mShoulder% > mElbow% > mWrist%
  mHip% > mKnee% > mAnkle% > mFoot% > mToe%
""",
        ("Left", "Right"),
        "hips=mPelvis spine=mTorso chest=mChest upper_arm.%=mShoulder% hand.%=mWrist% "
        "foot.%=mAnkle%",
    ),
    "upper and lower torso": Hierarchy(
        """
FigureRootPart
  LowerTorso
    %UpperLeg > %LowerLeg > %Foot
    UpperTorso
      Head
      %UpperArm > %LowerArm > %Hand
""",
        ("Left", "Right"),
        "root=FigureRootPart hips=LowerTorso chest=UpperTorso head=Head hand.%=%Hand "
        "thigh.%=%UpperLeg",
    ),
    "limbs in two segments, spine counted down": Hierarchy(
        """
root
  spine05 > spine04 > spine03 > spine02 > spine01
    neck01 > neck02 > neck03 > head
      jaw
      eye.%
      orbicularis03.%
    clavicle.% > shoulder01.% > upperarm01.% > upperarm02.% > lowerarm01.% > lowerarm02.% > wrist.%
      finger1-1.% > finger1-2.% > finger1-3.%
      metacarpal1.% > finger2-1.% > finger2-2.% > finger2-3.%
      metacarpal2.% > finger3-1.% > finger3-2.% > finger3-3.%
      metacarpal3.% > finger4-1.% > finger4-2.% > finger4-3.%
      metacarpal4.% > finger5-1.% > finger5-2.% > finger5-3.%
  pelvis.% > upperleg01.% > upperleg02.% > lowerleg01.% > lowerleg02.% > foot.%
    toe1-1.% > toe1-2.%
    toe2-1.% > toe2-2.% > toe2-3.%
""",
        ("L", "R"),
        "hips=root spine=spine05 chest=spine01 neck=neck01 head=head neck/3=neck03 "
        "shoulder.%=clavicle.% upper_arm.%=upperarm01.% forearm.%=lowerarm01.% "
        "hand.%=wrist.% thumb.%=finger1-1.% index.%=finger2-1.% index.%/3=finger2-3.% "
        "pinky.%=finger5-1.% thigh.%=upperleg01.% shin.%=lowerleg01.% foot.%=foot.% "
        "toe.%=toe1-1.%",
    ),
    "twist, corrective and IK bones among the joints": Hierarchy(
        """
root
  pelvis
    spine_01 > spine_02 > spine_03 > spine_04 > spine_05
      neck_01 > neck_02 > head
      clavicle_%
        upperarm_%
          lowerarm_%
            lowerarm_twist_02_% > lowerarm_twist_01_%
            lowerarm_correctiveRoot_% > lowerarm_in_%
            hand_%
              thumb_01_% > thumb_02_% > thumb_03_%
              index_metacarpal_% > index_01_% > index_02_% > index_03_%
              wrist_inner_%
              weapon_%
          upperarm_twist_01_%
          upperarm_bicep_%
        clavicle_pec_%
        clavicle_scap_%
    thigh_%
      calf_%
        calf_twist_02_%
        calf_kneeBack_%
        foot_%
          ankle_fwd_%
          ball_% > bigtoe_01_%
      thigh_twist_01_%
      thigh_correctiveRoot_% > thigh_fwd_%
  ik_foot_root
    ik_foot_%
  ik_hand_root > ik_hand_gun
    ik_hand_%
  interaction
  center_of_mass
""",
        ("l", "r"),
        "root=root hips=pelvis spine=spine_01 chest=spine_05 neck=neck_01 head=head "
        "neck/2=neck_02 shoulder.%=clavicle_% upper_arm.%=upperarm_% forearm.%=lowerarm_% "
        "hand.%=hand_% thumb.%=thumb_01_% index.%=index_01_% thigh.%=thigh_% "
        "shin.%=calf_% foot.%=foot_% toe.%=ball_%",
    ),
    "middle marked x, stretch and twist": Hierarchy(
        """
root.x
  spine_01.x > spine_02.x
    neck.x > head.x
      hair_01.x > hair_02.x > hair_03.x
    shoulder.%
      arm_stretch.% > forearm_stretch.% > hand.%
        index1.% > index2.% > index3.%
        thumb1.% > thumb2.% > thumb3.%
      arm_twist.%
  thigh_stretch.%
    thigh_twist.%
    leg_stretch.%
      leg_twist.%
      foot.% > toes_01.%
""",
        ("l", "r"),
        "hips=root.x spine=spine_01.x chest=spine_02.x neck=neck.x head=head.x "
        "strand:hair_01.x/3=hair_03.x shoulder.%=shoulder.% upper_arm.%=arm_stretch.% "
        "forearm.%=forearm_stretch.% hand.%=hand.% index.%=index1.% "
        "thigh.%=thigh_stretch.% shin.%=leg_stretch.% toe.%=toes_01.%",
    ),
    "prefix of two words, hip above pelvis": Hierarchy(
        """
Fig_BoneRoot
  Fig_Base_Hip
    Fig_Base_Pelvis
      Fig_Base_%_Thigh
        Fig_Base_%_ThighTwist01
        Fig_Base_%_Calf
          Fig_Base_%_CalfTwist01
          Fig_Base_%_Foot > Fig_Base_%_ToeBase > Fig_Base_%_BigToe1
          Fig_Base_%_KneeShareBone
    Fig_Base_Waist > Fig_Base_Spine01 > Fig_Base_Spine02
      Fig_Base_NeckTwist01 > Fig_Base_NeckTwist02 > Fig_Base_Head
        Fig_Base_FacialBone > Fig_Base_JawRoot
        Fig_Base_%_Eye
      Fig_Base_%_Clavicle > Fig_Base_%_Upperarm
        Fig_Base_%_UpperarmTwist01
        Fig_Base_%_Forearm
          Fig_Base_%_ForearmTwist01
          Fig_Base_%_Hand
            Fig_Base_%_Thumb1 > Fig_Base_%_Thumb2
            Fig_Base_%_Mid1 > Fig_Base_%_Mid2
      Fig_Base_%_RibsTwist
""",
        ("L", "R"),
        "chest=Fig_Base_Spine02 head=Fig_Base_Head hips=Fig_Base_Pelvis "
        "neck=Fig_Base_NeckTwist01 shoulder.%=Fig_Base_%_Clavicle "
        "upper_arm.%=Fig_Base_%_Upperarm hand.%=Fig_Base_%_Hand middle.%=Fig_Base_%_Mid1 "
        "thigh.%=Fig_Base_%_Thigh toe.%=Fig_Base_%_ToeBase",
    ),
    "bend and twist in line": Hierarchy(
        """
Figure
  hip
    pelvis
      %ThighBend > %ThighTwist > %Shin > %Foot
        %Metatarsals
        %Toe > %BigToe
    abdomenLower > abdomenUpper > chestLower > chestUpper
      neckLower > neckUpper > head
        upperTeeth
        %Eye
        %Ear
      %Collar > %ShldrBend > %ShldrTwist > %ForearmBend > %ForearmTwist > %Hand
        %Thumb1 > %Thumb2 > %Thumb3
        %Carpal1 > %Index1 > %Index2 > %Index3
        %Carpal2 > %Mid1 > %Mid2 > %Mid3
      %Pectoral
""",
        ("l", "r"),
        "spine=abdomenLower chest=chestUpper neck=neckLower head=head neck/2=neckUpper "
        "shoulder.%=%Collar upper_arm.%=%ShldrBend forearm.%=%ForearmBend hand.%=%Hand "
        "index.%=%Index1 middle.%=%Mid1 thigh.%=%ThighBend shin.%=%Shin foot.%=%Foot "
        "toe.%=%Toe",
    ),
    "limb, side, half, kind": Hierarchy(
        """
world
  cog_jnt
    pelvis_bind
      leg_%_upr_bind > leg_%_lwr_bind > foot_%_ankle_bind > foot_%_ball_bind > foot_%_toe_end
    spine_00_bind > spine_01_bind > chest_bind
      neck_00_bind > head_bind
      arm_%_clav_bind > arm_%_upr_bind > arm_%_lwr_bind > hand_%_wrist_bind
""",
        ("lf", "rt"),
        "hips=pelvis_bind chest=chest_bind head=head_bind thigh.%=leg_%_upr_bind "
        "shin.%=leg_%_lwr_bind foot.%=foot_%_ankle_bind toe.%=foot_%_ball_bind "
        "shoulder.%=arm_%_clav_bind upper_arm.%=arm_%_upr_bind forearm.%=arm_%_lwr_bind "
        "hand.%=hand_%_wrist_bind",
    ),
    "Japanese with twist, cancel and IK bones": Hierarchy(
        """
全ての親 > センター > グルーブ
  下半身
    %足 > %ひざ > %足首 > %つま先
    腰キャンセル%
  上半身 > 上半身2
    首 > 頭
      両目
      %目
      髪1 > 髪2 > 髪3
    %肩P > %肩 > %肩C > %腕 > %腕捩 > %ひじ > %手捩 > %手首
      %親指０ > %親指１ > %親指２
      %人指１ > %人指２ > %人指３
      %ダミー
  %足IK親 > %足ＩＫ > %つま先ＩＫ
""",
        ("左", "右"),
        "root=全ての親 hips=下半身 spine=上半身 chest=上半身2 head=頭 strand:髪1=髪1 "
        "upper_arm.%=%腕 forearm.%=%ひじ hand.%=%手首 thumb.%=%親指０ "
        "index.%=%人指１ thigh.%=%足 shin.%=%ひざ "
        "foot.%=%足首",
    ),
    "rolls in line, ends of fingers": Hierarchy(
        """
Reference > Hips
  Spine > Spine1 > Spine2 > Spine3
    Neck > Neck1 > Head
    %Shoulder > %Arm > %ArmRoll > %ForeArm > %ForeArmRoll > %Hand
      %HandThumb1 > %HandThumb2 > %HandThumb3 > %HandThumb4
      %InHandIndex > %HandIndex1 > %HandIndex2 > %HandIndex3 > %HandIndex4
  %UpLeg > %UpLegRoll > %Leg > %LegRoll > %Foot > %ToeBase > %FootToe
""",
        ("Left", "Right"),
        "root=Reference hips=Hips chest=Spine3 spine=Spine shoulder.%=%Shoulder "
        "upper_arm.%=%Arm forearm.%=%ForeArm hand.%=%Hand index.%=%HandIndex1 "
        "index.%/3=%HandIndex3 thigh.%=%UpLeg shin.%=%Leg foot.%=%Foot toe.%=%ToeBase",
    ),
}


def make_bones(tree, sides):
    """Make the bones of a tree, its sided branches once for each side, all at one place."""
    lines = []
    for line in filter(str.strip, tree.splitlines()):
        lines.append((len(line) - len(line.lstrip()), [n.strip() for n in line.split(">")]))
    bones = []

    def add(start, stop, parent, word):
        row = start
        while row < stop:
            depth, names = lines[row]
            end = row + 1
            while end < stop and lines[end][0] > depth:
                end += 1
            words = sides if "%" in names[0] and not word else (word,)
            for side in words:
                above = parent
                for name in names:
                    bones.append(Bone(name.replace("%", side), above, [0, 0, 0], [0, 0, 0]))
                    above = len(bones) - 1
                add(row + 1, end, above, side)
            row = end

    add(0, len(lines), -1, "")
    return bones


@pytest.mark.parametrize("habit", HIERARCHIES)
def test_joints_are_found_among_their_helpers(habit):
    hierarchy = HIERARCHIES[habit]
    expected = {}
    for entry in hierarchy.parts.split():
        part, bone = entry.split("=")
        for letter, word in zip("LR", hierarchy.sides, strict=True):
            expected[part.replace("%", letter)] = bone.replace("%", word)
    body_map = guess_body_map(make_bones(hierarchy.tree, hierarchy.sides))
    assert {part: body_map.bone(part) for part in expected} == expected
    sided = [guess.bone for part, guess in body_map.parts.items() if ".L" in part or ".R" in part]
    for helper in ("twist", "Twist", "Roll", "捩", "IK", "ik_", "hlp", "End", "Tip"):
        assert not [bone for bone in sided if helper in bone]
