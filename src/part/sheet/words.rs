//! The words, symbols and units that printed leakage lines use, in the languages of their sheets.

use std::collections::HashMap;
use std::sync::LazyLock;

use super::token::{Kin, Kind, Symbol, Unit, Word};

/// Looks a word up: as it stands first, since a prefix goes by its case, then in lower case.
pub(super) fn look_up(word: &str) -> Option<Kind> {
    if let Some(kind) = EXACT.get(word) {
        return Some(*kind);
    }
    if word.bytes().all(|byte| !byte.is_ascii_uppercase()) && word.is_ascii() {
        return ANY_CASE.get(word).copied();
    }
    ANY_CASE.get(word.to_lowercase().as_str()).copied()
}

/// The longest word of a script without blanks that begins here, with its length in signs.
pub(super) fn longest_unspaced(signs: impl Iterator<Item = char>) -> Option<(Kind, usize)> {
    let mut word = String::new();
    let mut longest = None;
    for (index, sign) in signs.take(LONGEST_UNSPACED).enumerate() {
        word.push(sign);
        if let Some(kind) = UNSPACED.get(word.as_str()) {
            longest = Some((*kind, index + 1));
        }
    }
    longest
}

const LONGEST_UNSPACED: usize = 8;

static EXACT: LazyLock<HashMap<&str, Kind>> = LazyLock::new(|| {
    let units = UNITS
        .iter()
        .flat_map(|(words, unit)| words.split(' ').map(|word| (word, Kind::Unit(*unit))));
    let symbols = SYMBOLS
        .iter()
        .flat_map(|(words, symbol)| words.split(' ').map(|word| (word, Kind::Symbol(*symbol))));
    units.chain(symbols).collect()
});

static ANY_CASE: LazyLock<HashMap<&str, Kind>> = LazyLock::new(|| {
    let units = LONG_UNITS
        .iter()
        .flat_map(|(words, unit)| words.split(' ').map(|word| (word, Kind::Unit(*unit))));
    let words = WORDS
        .iter()
        .flat_map(|(words, word)| words.split(' ').map(|text| (text, Kind::Word(*word))));
    let labels = LABELS
        .iter()
        .flat_map(|(words, symbol)| words.split(' ').map(|text| (text, Kind::Symbol(*symbol))));
    units.chain(words).chain(labels).collect()
});

static UNSPACED: LazyLock<HashMap<&str, Kind>> = LazyLock::new(|| {
    UNSPACED_WORDS
        .iter()
        .flat_map(|(words, kind)| words.split(' ').map(|word| (word, *kind)))
        .collect()
});

/// Units whose case counts.
const UNITS: &[(&str, Unit)] = &[
    ("A А", Unit::Current(1.0)),
    ("mA мА", Unit::Current(1e-3)),
    ("µA uA UA mkA mcA мкА µAmp uAmp µAmps uAmps", Unit::Current(1e-6)),
    ("nA нА", Unit::Current(1e-9)),
    ("pA пА", Unit::Current(1e-12)),
    ("F Ф", Unit::Capacitance(1.0)),
    ("mF", Unit::Capacitance(1e-3)),
    ("µF uF UF mkF mfd mfD MFD Mfd µfd µFd ufd uf mcF мкФ", Unit::Capacitance(1e-6)),
    ("nF нФ", Unit::Capacitance(1e-9)),
    ("pF пФ", Unit::Capacitance(1e-12)),
    ("VDC WV WVDC Vdc VDc V= Vcc В volts volt Volts Volt", Unit::Voltage(1.0)),
    ("kV кВ kVDC", Unit::Voltage(1e3)),
    ("mV мВ", Unit::Voltage(1e-3)),
    ("Ω Ом ohm ohms Ohm Ohms Ohmios", Unit::Resistance(1.0)),
    ("kΩ кОм kohm kOhm kohms", Unit::Resistance(1e3)),
    (
        "MΩ МОм Mohm Mohms MOhm MOhms MOHM Megohm megohm megohms Megohms MEGOHM MEGOHMS",
        Unit::Resistance(1e6),
    ),
    ("GΩ ГОм Gohm Gohms GOhm gigohm gigohms gigaohm gigaohms GOHM", Unit::Resistance(1e9)),
    ("TΩ ТОм Tohm TOhm", Unit::Resistance(1e12)),
    ("C° °C °c degC DegC degreesC", Unit::Celsius),
    ("µC uC мкКл", Unit::Charge(1e-6)),
    ("mC", Unit::Charge(1e-3)),
    ("s S с", Unit::Time(1.0)),
    ("h ч H", Unit::Time(3600.0)),
    ("MA MF MW mW °F MV", Unit::Doubtful),
];

/// Units in any case.
const LONG_UNITS: &[(&str, Unit)] = &[
    (
        "microamp microamps microampere microamperes mikroampere microamperios microampères",
        Unit::Current(1e-6),
    ),
    ("milliamp milliamps milliampere milliamperes miliamperios", Unit::Current(1e-3)),
    ("nanoamp nanoamps nanoampere nanoamperes", Unit::Current(1e-9)),
    ("microfarad microfarads", Unit::Capacitance(1e-6)),
    ("farad farads", Unit::Capacitance(1.0)),
    (
        "sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos secondo secondi seg сек секунд секунды",
        Unit::Time(1.0),
    ),
    (
        "mins minute minutes minuten minuto minutos minuti мин минут минуты минута mn",
        Unit::Time(60.0),
    ),
    (
        "hr hrs hour hours stunde stunden std heure heures hora horas ora ore часа часов час",
        Unit::Time(3600.0),
    ),
    ("мка", Unit::Current(1e-6)),
    ("celsius", Unit::Celsius),
];

/// Symbols whose case counts.
const SYMBOLS: &[(&str, Symbol)] = &[
    ("C С", Symbol::LoneC),
    ("CR CN Cr Cn CNOM Cnom Crated Сном Cном Сн Сr CO", Symbol::Capacitance),
    ("U UR UN VR VN Ur Un Vr Vn UNOM Unom Vnom Uном Vном Uн Urated Vrated", Symbol::Voltage),
    ("V", Symbol::LoneV),
    (
        "I IL Il Ir Iz ILmax ILMAX Imax Idc IDC ILEAK Ileak Ileakage Iут IЛ Iу Ik Lc LC DCL LK Ilk Idcl",
        Symbol::Current,
    ),
    ("R Ri Rins RINS Riso RISO Ris Rиз Rp IR Rип", Symbol::Resistance),
    ("τ tau", Symbol::TimeConstant),
];

/// Names of what is stated, in any case: they say no more than the symbol.
const LABELS: &[(&str, Symbol)] = &[
    ("reststrom leckstrom sperrstrom утечка утечки dcl", Symbol::Current),
    ("isolationswiderstand сопротивление", Symbol::Resistance),
    ("zeitkonstante", Symbol::TimeConstant),
];

const WORDS: &[(&str, Word)] = &[
    ("or oder bzw beziehungsweise ou o или od", Word::Or),
    ("and und et y e и &", Word::And),
    (
        "greater greatest larger largest higher highest bigger größer größere größerer größeres grössere groesser groessere höher höhere höherer höchste größte größten größter größtem größeren grande élevée élevé mayor maggiore superior superiore supérieur supérieure больше большее большая большей",
        Word::Greater,
    ),
    (
        "smaller smallest lower lowest lesser less kleiner kleinere kleinerer kleineres kleinste kleinsten kleinster kleineren niedriger niedrigste niedrigere niedrigerer niedrigere geringer geringere petite faible menor minore inferior inferiore inférieur inférieure меньше меньшее меньшая weniger",
        Word::Smaller,
    ),
    ("more mehr más più более", Word::More),
    ("moins menos meno менее", Word::Less),
    ("plus", Word::Plus),
    ("least", Word::Least),
    ("most", Word::AtMost),
    ("than als que di чем", Word::Than),
    ("not no nicht kein keine non pas не", Word::Not),
    ("need needs", Word::Need),
    (
        "exceed exceeds exceeding überschreiten überschreitet übersteigen übersteigt превышать превышает превышать dépasser superar exceder превышать superare",
        Word::Exceed,
    ),
    ("upto up bis jusqu'à hasta fino до", Word::UpTo),
    ("above over über au-dessus encima oltre свыше", Word::Above),
    ("below under unter unterhalb", Word::Below),
    ("mindestens minimo mínimo minima mínima minimum minimal минимум", Word::AtLeast),
    ("höchstens", Word::AtMost),
    ("max maximum maximal máx massimo massima máximo máxima maximale maximaler макс", Word::Max),
    ("min", Word::Min),
    ("to à a", Word::To),
    ("in en", Word::In),
    ("of von de del della des du dei", Word::Of),
    ("after nach après después tras dopo через после within", Word::After),
    ("sqrt root wurzel", Word::Root),
    (
        "typ typical typically typisch typische typique típico típica tipico tipica mean average mittelwert nominalwert",
        Word::Typical,
    ),
    (
        "initial initially specified anfangswert initialwert before previous above-mentioned spec table",
        Word::Refers,
    ),
    ("case size sizes diameter gehäuse", Word::Case),
    ("class klasse classe clase", Word::Class),
    ("one", Word::One),
    ("ii", Word::Two),
    ("np0 npo c0g cog", Word::Family(Kin::CeramicOne)),
    ("x7r x5r y5v z5u x7s x6s x7t", Word::Family(Kin::CeramicTwo)),
    ("humidity feuchte luftfeuchte rh", Word::Humidity),
    (
        "resistor vorwiderstand schutzwiderstand esr df tanδ tan impedance ripple dissipation",
        Word::Other,
    ),
    ("rated nominal nennspannung working nominale nominal номинальном номинальное", Word::Rated),
    ("equal equals gleich égal igual uguale", Word::Equal),
    ("per pro", Word::Per),
    ("percent prozent", Word::Percent),
    (
        "whichever is the dc leakage current dc d c value values at with for by when where applied applying applies measured measurement measure reading taken insulation resistance resistances i r voltage voltages capacitance time constant product two both either insulating limit limits bi bipolar polar nonpolar shall should must does do is ne debe doit darf deve be it charge application applied. room temperature temp ambient rel relative wvdc from all items each type series protective reference ref direct d.c condition conditions test electrification charging charged polarization this that as if given which on",
        Word::Filler,
    ),
    (
        "self discharge discharged following during period continuous standard characteristic characteristics performance item leak allowable permissible allowed upper required requirement requirements guaranteed guarantee applies applicable respectively any its has have been is via across terminals terminal dcwv normal electrolytic capacitor capacitors tantalum aluminum aluminium ceramic film polymer solid wet between into through electrified unless otherwise noted stated",
        Word::Filler,
    ),
    (
        "wobei gelten darf muss soll sein werden kapazitätswert nennwert nennkapazität angelegter angelegt anlegen anliegender ladung laden dauer bezogen auf kondensator elko isolation gemäß folgender jeweilige jeweiligen zulässiger zulässig maximalwert grenzwert",
        Word::Filler,
    ),
    (
        "prendre retenir appliquée condensateur être un une au aux cette ce ces lequel laquelle nominales",
        Word::Filler,
    ),
    ("cuál cual tomar tomando aplicar aplicando condensador será una este estos", Word::Filler),
    (
        "qual quale sia sea dei due fra tra prendere applicare applicando condensatore nominali della questo dell'isolamento d'isolamento",
        Word::Filler,
    ),
    (
        "должен должно должна быть значения измерения измеренный конденсатора номинальной номинального напряжения температура то",
        Word::Filler,
    ),
    (
        "jedoch aber t but however der die das dem den ein wert werte von beiden gilt jeweils welcher ist bei mit für fuer am zu gemessen spannung kapazität strom je nachdem maßgebend ladezeit messzeit messspannung raumtemperatur beim wird jeweilige gültig",
        Word::Filler,
    ),
    (
        "courant fuite fuites la le les valeur valeurs est sous pour avec tension résistance isolement d'isolement retenue des deux selon mesuré mesurée température",
        Word::Filler,
    ),
    (
        "corriente fuga el los valor valores dos sea con para tensión resistencia aislamiento lo cual aplicada temperatura",
        Word::Filler,
    ),
    (
        "corrente dispersione il lo valore valori quale sia tensione isolamento resistenza dei applicata",
        Word::Filler,
    ),
    (
        "из значений постоянная времени изоляции ток тока при напряжении температуре значение величина",
        Word::Filler,
    ),
];

const UNSPACED_WORDS: &[(&str, Kind)] = &[
    ("又は または 或 或者 또는 もしくは 혹은 或是", Kind::Word(Word::Or)),
    ("と 和 및 及び 与", Kind::Word(Word::And)),
    (
        "大きい 大きな 大 较大 較大 큰 取大 大なる 大となる 其大 最大者 高い 大きいほう 大きい方 더큰",
        Kind::Word(Word::Greater),
    ),
    (
        "小さい 小さな 小 较小 較小 작은 取小 小なる 小となる 其小 最小者 小さい方 小さいほう 低い",
        Kind::Word(Word::Smaller),
    ),
    ("以下 이하 以内 以內", Kind::Word(Word::OrLess)),
    ("以上 이상", Kind::Word(Word::OrMore)),
    ("未満 未满 미만", Kind::Word(Word::LessThan)),
    ("超 초과 を超える 超える", Kind::Word(Word::MoreThan)),
    ("不超过 不大于 不超過 不大於 小于等于 不高于", Kind::Word(Word::AtMost)),
    ("不小于 不小於 大于等于 不低于", Kind::Word(Word::AtLeast)),
    ("大于 大於 超过 超過", Kind::Word(Word::Above)),
    ("小于 小於 低于", Kind::Word(Word::Below)),
    ("最大 최대", Kind::Word(Word::Max)),
    ("最小 최소", Kind::Word(Word::AtLeast)),
    ("から 至 부터 到", Kind::Word(Word::To)),
    ("分 分钟 分鐘 分間 분 분간", Kind::Unit(Unit::Time(60.0))),
    ("秒 秒間 秒钟 초", Kind::Unit(Unit::Time(1.0))),
    ("小时 小時 時間 시간", Kind::Unit(Unit::Time(3600.0))),
    ("後 后 후 経過後 내", Kind::Word(Word::After)),
    ("典型 标准值 標準値 代表値 典型值 平均 전형", Kind::Word(Word::Typical)),
    ("初期 初始 規格値 规定值 初期値 규격치 초기", Kind::Word(Word::Refers)),
    ("定格 额定 額定 정격", Kind::Word(Word::Rated)),
    ("漏れ電流 漏电流 漏電流 누설전류 もれ電流 泄漏电流 漏洩電流", Kind::Symbol(Symbol::Current)),
    ("絶縁抵抗 绝缘电阻 絕緣阻抗 絕緣電阻 절연저항 绝缘阻抗", Kind::Symbol(Symbol::Resistance)),
    (
        "のいずれか のうち どちらか いずれか いずれ 値 值 中 者 取 両者 两者 兩者 之 的 の で は が を に 印加 電圧 电压 電壓 전압 인가 값 중 때 时 時 施加 加 加上 通电 外加 电容 电容量 电容器 后的 其 取值 计 最 ただし 但し 但 なお かつ 値は 定数 時定数 积 積 測定値 条件 印加後 充電後 以後 値で ときの とき における にて より 以 为准 為準 何れか 何れ 쪽 경우 에서 의 은 는 직류 直流 いる 方 ほう 充電 充电 测试 測定 测量 室温 常温 温度 온도 场合 場合 の場合 即可 시 가 이 와 과 로 经 経過 측정 静電容量 容量 용량 静电容量 간 間",
        Kind::Word(Word::Filler),
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_prefix_goes_by_its_case() {
        assert_eq!(look_up("mA"), Some(Kind::Unit(Unit::Current(1e-3))));
        assert_eq!(look_up("MA"), Some(Kind::Unit(Unit::Doubtful)));
    }

    #[test]
    fn words_are_known_in_any_case() {
        assert_eq!(look_up("Whichever"), Some(Kind::Word(Word::Filler)));
        assert_eq!(look_up("OR"), Some(Kind::Word(Word::Or)));
    }

    #[test]
    fn the_longest_unspaced_word_is_taken() {
        let taken = longest_unspaced("大きい値".chars());
        assert_eq!(taken, Some((Kind::Word(Word::Greater), 3)));
    }
}
