"""The loose coin.

What friction is demanded, how it rides, falls and lands, and what that tells of its friction.
"""

from pennyfall.kinematics.coin.band import loose_object_band
from pennyfall.kinematics.coin.demand import HeadMotion, head_motion
from pennyfall.kinematics.coin.friction import Coin, FrictionRange, known_coin, published_friction
from pennyfall.kinematics.coin.inference import InferredFriction, ObservedCoin, infer_friction
from pennyfall.kinematics.coin.prediction import CoinPrediction, CoinSetup, predict_coin
from pennyfall.kinematics.coin.ride import CoinRide, ride

__all__ = [
    "Coin",
    "CoinPrediction",
    "CoinRide",
    "CoinSetup",
    "FrictionRange",
    "HeadMotion",
    "InferredFriction",
    "ObservedCoin",
    "head_motion",
    "infer_friction",
    "known_coin",
    "loose_object_band",
    "predict_coin",
    "published_friction",
    "ride",
]
