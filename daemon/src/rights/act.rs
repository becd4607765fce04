//! Everything that can be done or read.

/// Something that somebody does or reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Act {
    /// To read the region's pages.
    ViewRegion,
    /// To read a station's pages.
    ViewStation,
    /// To read what is kept of gear.
    ViewItem,
    /// To read what stores hold, need and order.
    ViewStores,
    /// To read the rules.
    ViewRules,
    /// To read the mail that the demo caught.
    ViewMail,
    /// To keep an account of their own.
    OwnAccount,
    /// To log use.
    LogUse,
    /// To record work.
    RecordWork,
    /// To record that gear was found unfit.
    RecordFailedWork,
    /// To draft an examination report.
    DraftExamination,
    /// To sign an examination report.
    SignExamination,
    /// To clear a defect.
    ClearDefect,
    /// To set gear aside.
    SetAside,
    /// To release gear.
    ReleaseGear,
    /// To release gear after a failed test.
    ReleaseAfterFailedTest,
    /// To say the second word.
    SaySecondWord,
    /// To give a concession.
    GrantConcession,
    /// To acknowledge a later date.
    AcknowledgeCorrection,
    /// To settle a doubt in the log.
    SettleDoubt,
    /// To correct a record.
    CorrectRecord,
    /// To clear a hold.
    ClearHold,
    /// To enter gear.
    EnterItem,
    /// To fit or remove gear.
    FitItem,
    /// To cut gear from a drum.
    CutItem,
    /// To crop a wire.
    CropItem,
    /// To turn a wire end for end.
    TurnItem,
    /// To add a certificate.
    AddCertificate,
    /// To agree a loan.
    AgreeLoan,
    /// To book stock in or out.
    MoveStock,
    /// To raise an order.
    RaiseOrder,
    /// To sign an order.
    SignOrder,
    /// To rehearse a policy set.
    RehearsePolicy,
    /// To take a policy set up.
    TakeUpPolicy,
    /// To say who may do what.
    KeepPeople,
    /// To make tokens for programs.
    KeepTokens,
    /// To take a register in.
    Import,
    /// To give the register out.
    Export,
}

/// Every act.
pub const ACTS: [Act; 38] = [
    Act::ViewRegion,
    Act::ViewStation,
    Act::ViewItem,
    Act::ViewStores,
    Act::ViewRules,
    Act::ViewMail,
    Act::OwnAccount,
    Act::LogUse,
    Act::RecordWork,
    Act::RecordFailedWork,
    Act::DraftExamination,
    Act::SignExamination,
    Act::ClearDefect,
    Act::SetAside,
    Act::ReleaseGear,
    Act::ReleaseAfterFailedTest,
    Act::SaySecondWord,
    Act::GrantConcession,
    Act::AcknowledgeCorrection,
    Act::SettleDoubt,
    Act::CorrectRecord,
    Act::ClearHold,
    Act::EnterItem,
    Act::FitItem,
    Act::CutItem,
    Act::CropItem,
    Act::TurnItem,
    Act::AddCertificate,
    Act::AgreeLoan,
    Act::MoveStock,
    Act::RaiseOrder,
    Act::SignOrder,
    Act::RehearsePolicy,
    Act::TakeUpPolicy,
    Act::KeepPeople,
    Act::KeepTokens,
    Act::Import,
    Act::Export,
];

impl Act {
    /// What it is to do, as in "they may not log use".
    pub fn says(self) -> &'static str {
        match self {
            Act::ViewRegion => "read the region's pages",
            Act::ViewStation => "read a station's pages",
            Act::ViewItem => "read what is kept of gear",
            Act::ViewStores => "read what stores hold and order",
            Act::ViewRules => "read the rules",
            Act::ViewMail => "read the mail that the demo caught",
            Act::OwnAccount => "keep an account of their own",
            Act::LogUse => "log use",
            Act::RecordWork => "record work",
            Act::RecordFailedWork => "record that gear was found unfit",
            Act::DraftExamination => "draft an examination report",
            Act::SignExamination => "sign an examination report",
            Act::ClearDefect => "clear a defect",
            Act::SetAside => "set gear aside",
            Act::ReleaseGear => "release gear",
            Act::ReleaseAfterFailedTest => "release gear after a failed test",
            Act::SaySecondWord => "say the second word",
            Act::GrantConcession => "give a concession",
            Act::AcknowledgeCorrection => "acknowledge a later date",
            Act::SettleDoubt => "settle a doubt in the log",
            Act::CorrectRecord => "correct a record",
            Act::ClearHold => "clear a hold",
            Act::EnterItem => "enter gear",
            Act::FitItem => "fit or remove gear",
            Act::CutItem => "cut gear from a drum",
            Act::CropItem => "crop a wire",
            Act::TurnItem => "turn a wire end for end",
            Act::AddCertificate => "add a certificate",
            Act::AgreeLoan => "agree a loan",
            Act::MoveStock => "book stock in or out",
            Act::RaiseOrder => "raise an order",
            Act::SignOrder => "sign an order",
            Act::RehearsePolicy => "rehearse a policy set",
            Act::TakeUpPolicy => "take a policy set up",
            Act::KeepPeople => "say who may do what",
            Act::KeepTokens => "make tokens for programs",
            Act::Import => "take a register in",
            Act::Export => "give the register out",
        }
    }

    /// Whether it is done under a signature: by somebody with a second factor, who proved just now who they are.
    pub fn is_signed(self) -> bool {
        matches!(
            self,
            Act::SignExamination
                | Act::ReleaseAfterFailedTest
                | Act::SaySecondWord
                | Act::SignOrder
                | Act::TakeUpPolicy
        )
    }

    /// Whether it takes two people.
    pub fn needs_second(self) -> bool {
        self == Act::ReleaseAfterFailedTest
    }
}
